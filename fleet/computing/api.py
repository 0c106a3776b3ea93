"""REST doors to the science. They store nothing."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from combustion.fuels import FUELS
from combustion.iso6976 import REFERENCES
from common.parsing import raw_json
from common.problems import Problem
from common.schema import ProblemDetails
from fleet.computing.answers import FlueGasAnswer, GasRateAnswer
from fleet.computing.flue_gas import flue_gas_answer, flue_gas_compute
from fleet.computing.fuels import fuel_answer, properties_answer
from fleet.computing.gas_rate import gas_rate_answer
from fleet.computing.inputs import FlueGasIn, GasRateIn, PropertiesIn, parsed
from fleet.selectors import limits_in_force
from fleet.serializers import FuelSerializer
from people.permissions import SignedIn, WorksHere

REFUSED = {400: ProblemDetails, 415: ProblemDetails}


class FuelQuery(serializers.Serializer[Any]):
    reference = serializers.ChoiceField(
        choices=list(REFERENCES), default="15/15", help_text="Combustion / metering temperature, °C, or 60F."
    )


class FlueGas(APIView):
    """Flue gas from readings."""

    permission_classes = [WorksHere]

    @extend_schema(tags=["computing"], request=FlueGasIn, responses={200: FlueGasAnswer, **REFUSED})
    def post(self, request: Request) -> Response:
        """What the readings mean, each quantity with its standard uncertainty. Nothing is stored."""
        asked = parsed(FlueGasIn, raw_json(request))
        computed = flue_gas_compute(asked)
        limits = limits_in_force(asked.country, None, timezone.localdate())
        return Response(flue_gas_answer(computed, limits))


class GasRate(APIView):
    """Heat input from a gas meter."""

    permission_classes = [WorksHere]

    @extend_schema(tags=["computing"], request=GasRateIn, responses={200: GasRateAnswer, **REFUSED})
    def post(self, request: Request) -> Response:
        """Heat input from a clocked meter, against the nameplate. Nothing is stored."""
        return Response(gas_rate_answer(parsed(GasRateIn, raw_json(request))))


class Fuels(APIView):
    """The fuels known by composition, with their properties at one reference."""

    permission_classes = [SignedIn]

    @extend_schema(
        tags=["computing"],
        operation_id="fuels_list",
        parameters=[FuelQuery],
        responses=FuelSerializer(many=True),
    )
    def get(self, request: Request) -> Response:
        """All of them."""
        reference = _reference(request)
        return Response(FuelSerializer([fuel_answer(f, reference) for f in FUELS.values()], many=True).data)


class FuelDetail(APIView):
    """One fuel."""

    permission_classes = [SignedIn]

    @extend_schema(tags=["computing"], parameters=[FuelQuery], responses=FuelSerializer)
    def get(self, request: Request, slug: str) -> Response:
        """One fuel with its properties at one reference."""
        if slug not in FUELS:
            raise Problem("not_found", f"No fuel is called {slug!r}. Known: {', '.join(FUELS)}.", status=404)
        return Response(FuelSerializer(fuel_answer(FUELS[slug], _reference(request))).data)


class FuelProperties(APIView):
    """A gas of any composition."""

    permission_classes = [SignedIn]

    @extend_schema(tags=["computing"], request=PropertiesIn, responses={200: FuelSerializer, **REFUSED})
    def post(self, request: Request) -> Response:
        """Properties of a gas by composition (ISO 6976:2016). Nothing is stored."""
        answer = properties_answer(parsed(PropertiesIn, raw_json(request)))
        return Response(FuelSerializer(answer).data)


def _reference(request: Request) -> str:
    query = FuelQuery(data=request.query_params.dict())
    query.is_valid(raise_exception=True)
    return str(query.validated_data["reference"])
