"""Drift over REST: pages of JSON by cursor, or the whole sheet as CSV."""

from collections.abc import Iterable, Sequence
from typing import Any, ClassVar, cast

from django.db.models import OuterRef, QuerySet, Subquery
from django.http import StreamingHttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import GenericAPIView, ListAPIView, get_object_or_404
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from analytics import serializers as out
from analytics.alerting import alert_acknowledge
from analytics.exports import (
    ANALYSER_COLUMNS,
    COST_SHEET_COLUMNS,
    DRIFT_COLUMNS,
    TREND_SHEET_COLUMNS,
    analyser_rows,
    cost_rows,
    drift_rows,
    sheet_lines,
    trend_rows,
)
from analytics.models import Alert, ApplianceDrift, BurnerTrend, GasShift, PeriodBias, TrimDrift, TuningCost
from analytics.querysets import EstimateQuerySet
from analytics.selectors import alerts
from common.paging import ListQuery
from fleet.models import TrimKind
from people.models import User
from people.permissions import OfficeOnly, WorksHere


class SheetRenderer(BaseRenderer):
    """Chosen by `?format=csv` or `Accept: text/csv`; the view streams the sheet itself."""

    media_type = "text/csv"
    format = "csv"
    charset = "utf-8"

    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> bytes:
        """A refusal on the way to a sheet is still a problem details object."""
        return JSONRenderer().render(data)


class SheetQuery(ListQuery):
    format = serializers.ChoiceField(
        choices=["json", "csv"], required=False, help_text="csv: the whole list as one sheet, without pages."
    )


class DriftQuery(SheetQuery):
    appliance = serializers.UUIDField(required=False)
    trim = serializers.ChoiceField(choices=TrimKind.choices, required=False)
    flagged = serializers.BooleanField(required=False, allow_null=True, default=None)


class SheetList(ListAPIView[Any]):
    """A list that is also a sheet."""

    permission_classes = [WorksHere]
    renderer_classes = [JSONRenderer, SheetRenderer]
    columns: ClassVar[Sequence[str]] = ()
    file_name = ""

    def sheet(self) -> Iterable[Sequence[Any]]:
        raise NotImplementedError

    def get(self, request: Request, *args: Any, **kwargs: Any) -> Any:
        if getattr(request.accepted_renderer, "format", "") != "csv":
            return self.list(request, *args, **kwargs)
        SheetQuery.asked(request)
        answer = StreamingHttpResponse(sheet_lines(self.columns, self.sheet()), content_type="text/csv")
        answer["Content-Disposition"] = f'attachment; filename="{self.file_name}"'
        return answer


@extend_schema(parameters=[DriftQuery])
class DriftList(SheetList):
    """Drift and wander per burner and trim, by the run that is current. As CSV: every burner of the fleet."""

    serializer_class = out.TrimDriftSerializer
    queryset = TrimDrift.objects.none()
    ordering = ("burner_id", "trim")
    columns = DRIFT_COLUMNS
    file_name = "drift.csv"

    def sheet(self) -> Iterable[Sequence[Any]]:
        return drift_rows()

    def get_queryset(self) -> QuerySet[Any]:
        asked = DriftQuery.asked(self.request)
        rows: QuerySet[Any] = TrimDrift.objects.visible_to(self.request.user).current()
        rows = rows.select_related("appliance", "burner")
        of_appliance = ApplianceDrift.objects.filter(run=OuterRef("run"), appliance=OuterRef("appliance"))
        rows = rows.annotate(next_visit_by=Subquery(of_appliance.values("next_visit_by")[:1]))
        if "appliance" in asked:
            rows = rows.filter(appliance__uuid=asked["appliance"])
        if "trim" in asked:
            rows = rows.filter(trim=asked["trim"])
        return rows if asked["flagged"] is None else rows.filter(flagged=asked["flagged"])


@extend_schema(parameters=[SheetQuery])
class BiasList(SheetList):
    """Bias per analyser period, by the run that is current."""

    serializer_class = out.PeriodBiasSerializer
    queryset = PeriodBias.objects.none()
    ordering = ("period_id", "id")
    columns = ANALYSER_COLUMNS
    file_name = "analysers.csv"

    def sheet(self) -> Iterable[Sequence[Any]]:
        return analyser_rows()

    def get_queryset(self) -> QuerySet[Any]:
        SheetQuery.asked(self.request)
        rows = PeriodBias.objects.visible_to(self.request.user).current()
        return rows.select_related("period__analyser")


class BurnersQuery(SheetQuery):
    appliance = serializers.UUIDField(required=False)
    gas_area = serializers.CharField(required=False, max_length=120, help_text="Its name.")


class TrendQuery(BurnersQuery):
    quantity = serializers.ChoiceField(choices=BurnerTrend.Code.choices, required=False)


class BurnersList(SheetList):
    """Rows of burners by the run that is current, narrowed to an appliance or a gas area."""

    asks: ClassVar[type[BurnersQuery]] = BurnersQuery
    estimates: ClassVar[EstimateQuerySet]

    def get_queryset(self) -> QuerySet[Any]:
        asked = self.asks.asked(self.request)
        rows = self.estimates.visible_to(self.request.user).current().select_related("appliance", "burner")
        if "appliance" in asked:
            rows = rows.filter(appliance__uuid=asked["appliance"])
        if "gas_area" in asked:
            rows = rows.filter(appliance__plant__site__gas_area__name=asked["gas_area"])
        return rows.filter(quantity=asked["quantity"]) if "quantity" in asked else rows


@extend_schema(parameters=[TrendQuery])
class TrendList(BurnersList):
    """What fouling and wear move: quantities of burners that surely trend, or whose level changed."""

    serializer_class = out.BurnerTrendSerializer
    queryset = BurnerTrend.objects.none()
    estimates = BurnerTrend.objects.all()
    asks = TrendQuery
    ordering = ("burner_id", "quantity")
    columns = TREND_SHEET_COLUMNS
    file_name = "trends.csv"

    def sheet(self) -> Iterable[Sequence[Any]]:
        return trend_rows()


@extend_schema(parameters=[BurnersQuery])
class CostList(BurnersList):
    """What being out of tune costs each burner a year, as last found, with 95 % intervals."""

    serializer_class = out.TuningCostSerializer
    queryset = TuningCost.objects.none()
    estimates = TuningCost.objects.all()
    ordering = ("burner_id", "id")
    columns = COST_SHEET_COLUMNS
    file_name = "costs.csv"

    def sheet(self) -> Iterable[Sequence[Any]]:
        return cost_rows()


class GasQuery(ListQuery):
    gas_area = serializers.CharField(required=False, max_length=120, help_text="Its name.")


@extend_schema(parameters=[GasQuery])
class GasList(ListAPIView[GasShift]):
    """Gas shift per area and month, by the run that is current."""

    permission_classes = [WorksHere]
    serializer_class = out.GasShiftSerializer
    queryset = GasShift.objects.none()
    ordering = ("gas_area_id", "month")

    def get_queryset(self) -> QuerySet[GasShift]:
        asked = GasQuery.asked(self.request)
        rows = GasShift.objects.visible_to(self.request.user).current().select_related("gas_area")
        return rows.filter(gas_area__name=asked["gas_area"]) if "gas_area" in asked else rows


class AlertQuery(ListQuery):
    waiting = serializers.BooleanField(required=False, default=True, help_text="false: all that ever were.")
    kind = serializers.ChoiceField(choices=Alert.Kind.choices, required=False)


@extend_schema(parameters=[AlertQuery])
class AlertList(ListAPIView[Alert]):
    """Alerts of the office, one per cause, the newest first."""

    permission_classes = [OfficeOnly]
    serializer_class = out.AlertSerializer
    queryset = Alert.objects.none()
    ordering = ("-id",)

    def get_queryset(self) -> QuerySet[Alert]:
        asked = AlertQuery.asked(self.request)
        by = cast(User, self.request.user)
        return alerts(user=by, waiting=asked["waiting"], kind=asked.get("kind", ""))


class AlertAcknowledge(GenericAPIView[Alert]):
    """The office's word that it has seen an alert."""

    permission_classes = [OfficeOnly]
    serializer_class = out.AcknowledgeSerializer
    queryset = Alert.objects.none()

    @extend_schema(responses=out.AlertSerializer)
    def post(self, request: Request, pk: int) -> Response:
        """Once for each: a second acknowledgement is 409 `alert_acknowledged`."""
        by = cast(User, request.user)
        alert = get_object_or_404(Alert.objects.visible_to(by).with_subject(), pk=pk)
        said = self.get_serializer(data=request.data)
        said.is_valid(raise_exception=True)
        done = alert_acknowledge(by=by, alert=alert, note=said.validated_data["note"])
        return Response(out.AlertSerializer(done).data)
