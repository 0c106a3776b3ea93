"""REST door to what suppliers report of their gas."""

from datetime import date
from typing import Annotated, Literal

from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from pydantic import BaseModel, ConfigDict, Field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from combustion.fuels import custom_fuel
from common.parsing import PlainText, invalid, raw_json
from common.problems import field_error
from common.schema import ProblemDetails
from fleet.computing.inputs import Composition, parsed, refused
from fleet.models import FuelSlug, GasArea, Site, SuppliedGas
from fleet.services import gas_report
from people.permissions import OfficeOnly


class GasReportIn(BaseModel):
    """A supplier's report for one site or one gas area, in place of a catalogue fuel from a day on."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    site: Annotated[int, Field(ge=1, le=2**62)] | None = None
    gas_area: Annotated[int, Field(ge=1, le=2**62)] | None = None
    fuel: Literal[tuple(FuelSlug.values)] = "natural_gas"  # type: ignore[valid-type]
    composition: Composition
    from_on: date
    source: Annotated[PlainText, Field(min_length=1, max_length=200)]


class GasReportSerializer(serializers.ModelSerializer[SuppliedGas]):
    composition = serializers.DictField(child=serializers.FloatField())

    class Meta:
        model = SuppliedGas
        fields = ["id", "site", "gas_area", "fuel", "composition", "from_on", "source"]


class GasReports(APIView):
    """What suppliers report of their gas."""

    permission_classes = [OfficeOnly]

    @extend_schema(
        tags=["fleet"],
        request=GasReportIn,
        responses={200: GasReportSerializer, 400: ProblemDetails, 404: ProblemDetails},
    )
    def post(self, request: Request) -> Response:
        """Report a gas. Sent again for the same day and place, it takes the earlier report's place."""
        asked = parsed(GasReportIn, raw_json(request))
        if (asked.site is None) == (asked.gas_area is None):
            detail = "A supplied gas is a site's or a gas area's, one of the two."
            raise invalid([field_error("/site", "one_of_two", detail, value=asked.site, limit="one of two")])
        with refused():
            custom_fuel(asked.composition)
        site = None if asked.site is None else get_object_or_404(Site, pk=asked.site)
        gas_area = None if asked.gas_area is None else get_object_or_404(GasArea, pk=asked.gas_area)
        given = asked.model_dump(include={"fuel", "composition", "from_on", "source"})
        try:
            gas = gas_report(by=request.user, site=site, gas_area=gas_area, **given)
        except ValidationError as error:
            rows = [field_error(f"/{name}", "invalid", text) for name, text in _texts(error)]
            raise invalid(rows) from error
        return Response(GasReportSerializer(gas).data)


def _texts(error: ValidationError) -> list[tuple[str, str]]:
    return [(name, text) for name, texts in error.message_dict.items() for text in texts]
