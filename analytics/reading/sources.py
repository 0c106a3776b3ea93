"""Which rows of the record the drift work reads, and which columns of each."""

from collections.abc import Iterator, Sequence

import numpy as np
from django.db.models import Exists, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce, ExtractMonth, ExtractYear

from analytics.reading.columns import Columns, EpochDays, Place, column_batches, columns_read
from fleet.models import (
    Analyser,
    AnalyserChannel,
    ApplianceModel,
    Burner,
    FuelSlug,
    PartFitted,
    Point,
    TrimKind,
)
from visits.models import Adjustment, FiringTest, Phase, Visit

FUELS: tuple[str, ...] = tuple(FuelSlug.values)
"""A fuel's number is its place here."""
TRIMS: tuple[str, ...] = (TrimKind.THROTTLE.value, TrimKind.OFFSET.value)
FIRST_YEAR = 1970
"""Running months count from its January."""

Ids = Sequence[int] | None
"""What to read of, or None for the whole fleet."""


def premix() -> Q:
    """Burners with trims: pneumatic premix, or of unknown control but trimmed or with a turndown.

    Old records rarely say how the ratio is held. A throttle or offset that was moved, a turndown or an air
    signal on the burner itself says it well enough.
    """
    moved = Adjustment.objects.filter(burner=OuterRef("pk"), trim__in=TRIMS, withdrawn_reason="")
    kinds = ApplianceModel.RatioControl
    said = Q(Q(turndown__isnull=False), Q(control_pressure_pa__isnull=False), Exists(moved), _connector=Q.OR)
    unknown = Q(Q(appliance__model__ratio_control=kinds.UNKNOWN), said)
    return Q(appliance__model__ratio_control=kinds.PNEUMATIC_PREMIX) | unknown


def burners_read(appliance_ids: Ids) -> Columns:
    """Premix burners with what is known of each, its own figure before its model's."""
    rows = Burner.objects.filter(premix())
    if appliance_ids is not None:
        rows = rows.filter(appliance__in=appliance_ids)
    model = "appliance__model__"
    return columns_read(
        rows,
        {
            "id": ("i8", "id"),
            "appliance": ("i8", "appliance_id"),
            "model": ("i8", "appliance__model_id"),
            "fuel": ("i2", Place("appliance__fuel", FUELS)),
            "area": ("i8", "appliance__plant__site__gas_area_id"),
            "site": ("i8", "appliance__plant__site_id"),
            "turndown": ("f8", Coalesce("turndown", f"{model}turndown")),
            "signal_pa": ("f8", Coalesce("control_pressure_pa", f"{model}control_pressure_pa")),
            "fan_high_rpm": ("f8", Coalesce("fan_high_rpm", f"{model}fan_high_rpm")),
        },
        few=appliance_ids is not None,
    )


def visits_read(appliance_ids: Ids) -> Columns:
    """Closed visits: day, running month at the site, analyser and period."""
    rows = Visit.objects.closed()
    if appliance_ids is not None:
        rows = rows.filter(appliance__in=appliance_ids)
    month = (ExtractYear("local_on") - FIRST_YEAR) * 12 + ExtractMonth("local_on") - 1
    return columns_read(
        rows,
        {
            "id": ("i8", "id"),
            "day": ("f8", EpochDays("opened_at")),
            "month": ("i4", month),
            "local_day": ("f8", EpochDays("local_on")),
            "analyser": ("i8", "analyser_id"),
            "period": ("i8", "analyser_period_id"),
        },
        few=appliance_ids is not None,
    )


def test_batches(appliance_ids: Ids) -> Iterator[Columns]:
    """Standing tests at high and low fire that nothing keeps out, of open visits too."""
    rows = FiringTest.objects.standing().filter(
        kept_out="", phase__in=[Phase.AS_FOUND, Phase.AS_LEFT], point__in=[Point.HIGH, Point.LOW]
    )
    if appliance_ids is not None:
        rows = rows.filter(burner__appliance__in=appliance_ids)
    yield from column_batches(
        rows,
        {
            "visit": ("i8", "visit_id"),
            "burner": ("i8", "burner_id"),
            "phase": ("i2", Place("phase", (Phase.AS_FOUND.value, Phase.AS_LEFT.value))),
            "point": ("i2", Place("point", (Point.HIGH.value, Point.LOW.value))),
            "fuel": ("i2", Place("fuel", FUELS)),
            "co2_measured": (
                "i2",
                Place("co2_source", (FiringTest.Source.DERIVED.value, FiringTest.Source.MEASURED.value)),
            ),
            "moved_before": ("i2", Place("moved_before", (False, True))),
            "inferred_ln_phi": ("f4", "inferred_ln_phi"),
            "inferred_u_ln_phi": ("f4", "inferred_u_ln_phi"),
            "sequence": ("i4", "sequence"),
            "co2_pct": ("f4", "co2_pct"),
            "o2_pct": ("f4", "o2_pct"),
            "co_ppm": ("f4", "co_ppm"),
            "air_temp_c": ("f4", "air_temp_c"),
            "fan_rpm": ("f4", "fan_rpm"),
        },
        few=appliance_ids is not None,
    )


def adjustments_read(appliance_ids: Ids) -> Columns:
    """Standing moves of a throttle or an offset."""
    rows = Adjustment.objects.filter(withdrawn_reason="", trim__in=TRIMS)
    if appliance_ids is not None:
        rows = rows.filter(burner__appliance__in=appliance_ids)
    return columns_read(
        rows,
        {
            "visit": ("i8", "visit_id"),
            "burner": ("i8", "burner_id"),
            "trim": ("i2", Place("trim", TRIMS)),
        },
        few=appliance_ids is not None,
    )


def parts_read(appliance_ids: Ids) -> Columns:
    """Parts fitted and fan limits changed, with the visit that did it where one is named."""
    rows = PartFitted.objects.all()
    if appliance_ids is not None:
        rows = rows.filter(burner__appliance__in=appliance_ids)
    named = Subquery(Visit.objects.filter(uuid=OuterRef("visit_uuid")).values("pk")[:1])
    return columns_read(
        rows,
        {"burner": ("i8", "burner_id"), "visit": ("i8", named), "day": ("f8", EpochDays("fitted_at"))},
        few=appliance_ids is not None,
    )


def analysers_read(analyser_ids: Ids) -> Columns:
    """Analysers: the fuel each is set to (-1: that of each appliance), and its declared limits of error."""
    rows = Analyser.objects.all()
    if analyser_ids is not None:
        rows = rows.filter(pk__in=analyser_ids)
    own = AnalyserChannel.objects.filter(analyser=OuterRef("pk"))

    def stated(quantity: str, column: str) -> Subquery:
        return Subquery(own.filter(quantity=quantity).values(column)[:1])

    channels = AnalyserChannel.Quantity
    read = columns_read(
        rows,
        {
            "id": ("i8", "id"),
            "setting": ("i2", Place("fuel_setting", FUELS)),
            "o2_abs": ("f8", stated(channels.O2_PCT, "accuracy_abs")),
            "o2_rel": ("f8", stated(channels.O2_PCT, "accuracy_rel")),
            "co2_abs": ("f8", stated(channels.CO2_PCT, "accuracy_abs")),
            "co2_rel": ("f8", stated(channels.CO2_PCT, "accuracy_rel")),
        },
        few=analyser_ids is not None,
    )
    order = np.argsort(read["id"])
    return {name: values[order] for name, values in read.items()}
