"""What goes in and out of the REST addresses of planning."""

from typing import Any

from rest_framework import serializers

from analytics.models import ApplianceDrift
from fleet.models import Appliance
from fleet.serializers import PlaceSerializer
from planning.models import DueDate, EarlierVisit, FollowUp
from visits.measured import MEASURED_FIELDS
from visits.models import FiringTest, Visit


class DueApplianceSerializer(serializers.ModelSerializer[Appliance]):
    """Enough of an appliance to know which one is meant and where it stands."""

    model = serializers.CharField(source="model.__str__")
    plant = PlaceSerializer()

    class Meta:
        model = Appliance
        fields = ["uuid", "tag", "serial", "model", "fuel", "input_gross_kw", "safety_state", "plant"]


class DueDateSerializer(serializers.ModelSerializer[DueDate]):
    """When an appliance must be seen, inside which window, and what that rests on."""

    appliance = DueApplianceSerializer()
    contract = serializers.CharField(source="contract.reference", default=None, allow_null=True)
    basis_visit = serializers.UUIDField(source="basis_visit.uuid", default=None, allow_null=True)

    class Meta:
        model = DueDate
        fields = [
            "appliance",
            "due_on",
            "window_from",
            "window_to",
            "rule",
            "contract",
            "basis_visit",
            "reason",
        ]


class FollowUpSerializer(serializers.ModelSerializer[FollowUp]):
    """A visit that left something to do for the office."""

    visit = serializers.UUIDField(source="visit.uuid")
    local_on = serializers.DateField(source="visit.local_on")
    technician = serializers.CharField(source="visit.technician", allow_null=True)
    appliance = DueApplianceSerializer()
    done_by = serializers.CharField(allow_null=True)

    class Meta:
        model = FollowUp
        fields = [
            "id",
            "visit",
            "local_on",
            "technician",
            "appliance",
            "cause",
            "state",
            "made_at",
            "done_by",
            "done_at",
            "note",
        ]


class FollowUpDoneSerializer(serializers.Serializer[Any]):
    note = serializers.CharField(max_length=400, help_text="How it was seen to, if not by a visit.")


class SettledTestSerializer(serializers.ModelSerializer[FiringTest]):
    """The settled values of one firing point of one burner in one phase, and what they were judged to be.

    Compositions dry; missing is null. The verdict is of the newest engine that judged the test.
    """

    burner = serializers.UUIDField(source="burner.uuid")
    verdict = serializers.SerializerMethodField()
    p_inside = serializers.SerializerMethodField()

    class Meta:
        model = FiringTest
        fields = [
            "key",
            "burner",
            "point",
            "percent",
            "phase",
            "sequence",
            "observed_at",
            "settled",
            "co2_source",
            *MEASURED_FIELDS,
            "verdict",
            "p_inside",
        ]

    def get_verdict(self, test: FiringTest) -> str | None:
        return next((row.verdict for row in reversed(test.results.all())), None)

    def get_p_inside(self, test: FiringTest) -> float | None:
        return next((row.p_inside for row in reversed(test.results.all())), None)


class PastVisitSerializer(serializers.ModelSerializer[Visit]):
    """A visit with its combustion health and settled values. Health is a probability, 0 to 1."""

    tests = SettledTestSerializer(source="firingtests", many=True)

    class Meta:
        model = Visit
        fields = [
            "uuid",
            "kind",
            "outcome",
            "opened_at",
            "closed_at",
            "local_on",
            "fuel",
            "uncountersigned",
            "revision",
            "health_as_found",
            "health_as_found_full",
            "health_as_found_weakest",
            "health_as_left",
            "health_as_left_full",
            "health_as_left_weakest",
            "tests",
        ]


class HistorySerializer(PastVisitSerializer):
    """A visit of one appliance's history."""

    technician = serializers.CharField(allow_null=True)
    analyser = serializers.CharField(source="analyser.tag", default=None, allow_null=True)

    class Meta:
        model = Visit
        fields = [*PastVisitSerializer.Meta.fields, "technician", "analyser", "analyser_text"]


class ProposalSerializer(serializers.ModelSerializer[ApplianceDrift]):
    """An earlier visit that drift proposes: `next_visit_by` is the day by which to come.

    `outside`: rows of day and the probability of lying outside an acceptance limit on it.
    """

    appliance = DueApplianceSerializer()
    annual_date = serializers.DateField(source="appliance.next_due_on", allow_null=True)
    outside = serializers.JSONField()

    class Meta:
        model = ApplianceDrift
        fields = ["appliance", "next_visit_by", "annual_date", "outside", "wander_probability", "flagged"]


class DecisionSerializer(serializers.Serializer[Any]):
    decision = serializers.ChoiceField(choices=EarlierVisit.Decision.choices)
    come_by = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="Where accepted; left out: the day proposed."
    )
    reason = serializers.CharField(max_length=400)


class EarlierVisitSerializer(serializers.ModelSerializer[EarlierVisit]):
    """How a proposed earlier visit was answered, and what it rested on."""

    appliance = serializers.UUIDField(source="appliance.uuid")
    basis_visit = serializers.UUIDField(source="basis_visit.uuid")
    decided_by = serializers.CharField()

    class Meta:
        model = EarlierVisit
        fields = [
            "appliance", "basis_visit", "proposed_by", "evidence", "decision", "come_by", "reason",
            "decided_by", "decided_at",
        ]  # fmt: skip
