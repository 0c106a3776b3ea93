"""What drift looks like over REST."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from analytics.exports import UNIT_WORDS, burner_label
from analytics.models import PeriodBias, TrimDrift


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
