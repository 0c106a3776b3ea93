"""What drift looks like over REST."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from analytics.exports import UNIT_WORDS, burner_label
from analytics.models import Alert, BurnerTrend, GasShift, PeriodBias, TrimDrift, TuningCost
from analytics.quantities import BY_CODE
from analytics.selectors import WHAT_TO_DO, alert_sentence, cost_sentence
from analytics.selectors.trends import trend_sentence


class TrimDriftSerializer(serializers.ModelSerializer[TrimDrift]):
    """One trim of one burner. Changes are in `unit`; 95 % intervals."""

    appliance = serializers.UUIDField(source="appliance.uuid")
    tag = serializers.CharField(source="appliance.tag")
    burner = serializers.UUIDField(source="burner.uuid")
    burner_label = serializers.SerializerMethodField()
    unit = serializers.SerializerMethodField()
    next_visit_by = serializers.DateField(allow_null=True)

    class Meta:
        model = TrimDrift
        fields = [
            "appliance", "tag", "burner", "burner_label", "trim", "visits", "state", "state_u",
            "drift_per_year", "drift_low", "drift_high", "unit", "moved_per_year", "usual_per_year",
            "from_analyser_per_year", "from_gas_per_year", "wander_probability", "flagged",
            "change_points", "next_visit_by", "reason", "run",
        ]  # fmt: skip
        read_only_fields = fields

    def get_burner_label(self, row: TrimDrift) -> str:
        return burner_label(row.burner.name, row.burner.position)

    @extend_schema_field(serializers.ChoiceField(choices=list(UNIT_WORDS.values())))
    def get_unit(self, row: TrimDrift) -> str:
        return UNIT_WORDS[row.unit]


class PeriodBiasSerializer(serializers.ModelSerializer[PeriodBias]):
    """One analyser period: reading minus truth at 9 % CO2, dry vol %."""

    analyser = serializers.CharField(source="period.analyser.tag")
    calibrated_on = serializers.DateField(source="period.starts_on", allow_null=True)
    bias_u = serializers.FloatField(source="bias_u_co2_pct")

    class Meta:
        model = PeriodBias
        fields: Any = ["analyser", "calibrated_on", "readings", "bias_co2_pct", "bias_u", "weak", "run"]
        read_only_fields = fields


class GasShiftSerializer(serializers.ModelSerializer[GasShift]):
    """One gas area's month: what its gas added to the mixture's richness, %, against the area's usual."""

    gas_area = serializers.CharField(source="gas_area.name")

    class Meta:
        model = GasShift
        fields: Any = ["gas_area", "month", "shift_pct", "shift_u_pct", "readings", "weak", "run"]
        read_only_fields = fields


class BurnerRowSerializer(serializers.ModelSerializer[Any]):
    """What every row of a burner begins with."""

    appliance = serializers.UUIDField(source="appliance.uuid")
    tag = serializers.CharField(source="appliance.tag")
    burner = serializers.UUIDField(source="burner.uuid")
    burner_label = serializers.SerializerMethodField()
    sentence = serializers.SerializerMethodField()

    def get_burner_label(self, row: Any) -> str:
        return burner_label(row.burner.name, row.burner.position)


class BurnerTrendSerializer(BurnerRowSerializer):
    """One quantity of one burner at high fire as found that surely trends or has stepped. In `unit`, slopes a
    year with Sen's 95 % interval; `limit` is the one that its line passes within five years."""

    unit = serializers.SerializerMethodField()

    class Meta:
        model = BurnerTrend
        fields: Any = [
            "appliance", "tag", "burner", "burner_label", "quantity", "unit", "sentence", "readings", "level",
            "slope", "slope_low", "slope_high", "step", "step_on", "limit", "limit_source", "passes_on",
            "passes_earliest_on", "strength", "run",
        ]  # fmt: skip
        read_only_fields = fields

    def get_unit(self, row: BurnerTrend) -> str:
        return BY_CODE[row.quantity].unit

    def get_sentence(self, row: BurnerTrend) -> str:
        return trend_sentence(row)


class TuningCostSerializer(BurnerRowSerializer):
    """One burner as last found against its target: gas lost a year (gross heat), with its 95 % interval;
    below 0 it burns with less air than its target, which is a risk and no gain. Money where a price is
    stated. Where there is no figure `reason` says why."""

    lost_m3 = serializers.SerializerMethodField(help_text="At 15 °C and 1013.25 hPa.")
    co2_kg = serializers.SerializerMethodField(help_text="Middle, lower and upper end.")
    money = serializers.SerializerMethodField(help_text="Middle, lower and upper end, in `currency`.")

    class Meta:
        model = TuningCost
        fields: Any = [
            "appliance", "tag", "burner", "burner_label", "sentence", "read_on", "points", "indicative",
            "fuel", "high_excess_air_pct", "high_target_excess_air_pct", "low_excess_air_pct",
            "low_target_excess_air_pct", "lost_pct", "lost_u_pct", "use_kwh", "use_source", "lost_kwh",
            "lost_low_kwh", "lost_high_kwh", "lost_m3", "co2_kg", "price_per_kwh", "currency", "money",
            "reason", "run",
        ]  # fmt: skip
        read_only_fields = fields

    def get_sentence(self, row: TuningCost) -> str:
        return cost_sentence(row)

    def get_lost_m3(self, row: TuningCost) -> float | None:
        return None if row.lost_kwh is None else row.lost_kwh * row.m3_per_kwh

    @extend_schema_field(serializers.ListField(child=serializers.FloatField(), allow_null=True))
    def get_co2_kg(self, row: TuningCost) -> list[float] | None:
        return row.worth(row.co2_kg_per_kwh)

    @extend_schema_field(serializers.ListField(child=serializers.FloatField(), allow_null=True))
    def get_money(self, row: TuningCost) -> list[float] | None:
        return row.worth(row.price_per_kwh)


class AlertSerializer(serializers.ModelSerializer[Alert]):
    """One cause, in words and numbers, with what to do. `value`: a probability (wanderer, outside), a bias in
    % CO2 (analyser) or a shift in % (gas), with its 95 % interval where it has one."""

    appliance = serializers.UUIDField(source="appliance.uuid", default=None)
    analyser = serializers.CharField(source="period.analyser.tag", default=None)
    gas_area = serializers.CharField(source="gas_area.name", default=None)
    sentence = serializers.SerializerMethodField()
    what_to_do = serializers.SerializerMethodField()
    acknowledged_by = serializers.CharField(allow_null=True)

    class Meta:
        model = Alert
        fields: Any = [
            "id", "kind", "sentence", "what_to_do", "appliance", "analyser", "gas_area", "value", "low",
            "high", "day", "holds", "raised_at", "ceased_at", "acknowledged_by", "acknowledged_at", "note",
        ]  # fmt: skip
        read_only_fields = fields

    def get_sentence(self, row: Alert) -> str:
        return alert_sentence(row)

    def get_what_to_do(self, row: Alert) -> str:
        return WHAT_TO_DO[row.kind]


class AcknowledgeSerializer(serializers.Serializer[Any]):
    note = serializers.CharField(
        max_length=400, required=False, default="", allow_blank=True, help_text="What is done about it."
    )
