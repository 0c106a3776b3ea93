"""How the day's bundle is told. What is shared stands once and is named by number or UUID."""

from typing import Any

from rest_framework import serializers

from fleet.models import Analyser, Appliance, ApplianceModel, ModelTrim, Plant, SafetyLimit, TurnSensitivity
from fleet.serializers import (
    AnalyserChannelSerializer,
    AnalyserPeriodSerializer,
    ApplianceModelSerializer,
    BurnerSerializer,
    FuelSerializer,
    ModelTrimSerializer,
)
from planning.serializers import PastVisitSerializer
from visits.models import Adjustment, Attendance, Visit


class SentVisitSerializer(serializers.ModelSerializer[Visit]):
    """A visit that the record already holds for this attendance."""

    appliance = serializers.UUIDField(source="appliance.uuid")

    class Meta:
        model = Visit
        fields = ["uuid", "appliance", "kind", "revision", "closed_at", "outcome"]


class DayAttendanceSerializer(serializers.ModelSerializer[Attendance]):
    """One stop. The plant is found by its id."""

    plant = serializers.IntegerField(source="plant_id")
    visits = SentVisitSerializer(source="sent", many=True)

    class Meta:
        model = Attendance
        fields = [
            "uuid",
            "position",
            "planned_start_at",
            "arrived_at",
            "left_at",
            "access_notes",
            "contact_name",
            "plant",
            "visits",
        ]


class DayPlantSerializer(serializers.ModelSerializer[Plant]):
    """Where to go, how to get in, and by which limits and gases what stands there is judged."""

    site = serializers.CharField(source="site.name")
    customer = serializers.CharField(source="site.customer.name")
    country = serializers.CharField(source="site.customer.country")
    address = serializers.CharField(source="site.address")
    latitude = serializers.FloatField(source="site.latitude", allow_null=True)
    longitude = serializers.FloatField(source="site.longitude", allow_null=True)
    elevation_m = serializers.FloatField(source="site.elevation_m", allow_null=True)
    time_zone = serializers.CharField(source="site.time_zone")
    site_access_notes = serializers.CharField(source="site.access_notes")
    design_winter_air_c = serializers.FloatField(source="site.design_winter_air_c", allow_null=True)
    design_summer_air_c = serializers.FloatField(source="site.design_summer_air_c", allow_null=True)
    limits = serializers.IntegerField(help_text="Number of the set in `limits`.")
    gases = serializers.DictField(
        child=serializers.IntegerField(), help_text="Fuel to the number in `gases` of what stands in for it."
    )

    class Meta:
        model = Plant
        fields = [
            "id",
            "name",
            "sequencing",
            "access_notes",
            "site",
            "site_access_notes",
            "customer",
            "country",
            "address",
            "latitude",
            "longitude",
            "elevation_m",
            "time_zone",
            "design_winter_air_c",
            "design_summer_air_c",
            "limits",
            "gases",
        ]


class LastMoveSerializer(serializers.ModelSerializer[Adjustment]):
    """One move of a trim on the last visit."""

    burner = serializers.IntegerField(source="burner.position")

    class Meta:
        model = Adjustment
        fields = ["burner", "trim", "direction", "turns", "marks", "before_co2_pct", "after_co2_pct"]


class LastVisitSerializer(PastVisitSerializer):
    """The last closed visit, with its moves of trims."""

    adjustments = LastMoveSerializer(source="moves", many=True)

    class Meta:
        model = Visit
        fields = [*PastVisitSerializer.Meta.fields, "adjustments"]


class OpenFindingSerializer(serializers.Serializer[Any]):
    """A finding of an earlier visit that still stands. What to do is in `finding_kinds`, by code."""

    code = serializers.CharField()
    burner = serializers.IntegerField(allow_null=True, help_text="Its position.")
    severity = serializers.CharField()
    sentence = serializers.CharField()
    value = serializers.FloatField(allow_null=True)
    limit = serializers.FloatField(allow_null=True)
    unit = serializers.CharField()
    life = serializers.CharField()
    due_on = serializers.DateField(allow_null=True)
    visit = serializers.UUIDField()
    seen_on = serializers.DateField()


class PutBackSerializer(serializers.Serializer[Any]):
    """A setting that a test usually alters: a row of `temporary_changes` to be confirmed."""

    key = serializers.CharField()
    code = serializers.CharField()
    unit = serializers.CharField()
    what = serializers.CharField()
    was = serializers.CharField(help_text="As last noted on this appliance; empty where nobody did.")
    set_to = serializers.CharField()
    caution = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    mark = serializers.CharField()


class DayApplianceSerializer(serializers.ModelSerializer[Appliance]):
    """An appliance of the day with its burners, its last visit and what still stands."""

    plant_id = serializers.IntegerField()
    model_id = serializers.IntegerField()
    burners = BurnerSerializer(many=True)
    last = LastVisitSerializer(allow_null=True)
    findings = OpenFindingSerializer(source="findings_told", many=True)
    item_lists = serializers.DictField(
        child=serializers.IntegerField(), help_text="Kind of visit to the number of its list in `item_lists`."
    )
    put_back = PutBackSerializer(many=True)

    class Meta:
        model = Appliance
        fields = [
            "uuid",
            "tag",
            "serial",
            "plant_id",
            "model_id",
            "fuel",
            "input_gross_kw",
            "air_source",
            "safety_state",
            "next_due_on",
            "burners",
            "last",
            "findings",
            "item_lists",
            "put_back",
        ]


class SensitivitySerializer(serializers.ModelSerializer[TurnSensitivity]):
    """What a clockwise turn or mark does: to ln K (throttle) or to w (offset)."""

    class Meta:
        model = TurnSensitivity
        fields = [
            "unit",
            "effect",
            "effect_low",
            "effect_high",
            "effect_u",
            "spread",
            "scatter",
            "moves",
            "burners",
            "why_way_only",
        ]


class DayTrimSerializer(ModelTrimSerializer):
    sensitivity = SensitivitySerializer(allow_null=True, help_text="Null: nothing learnt yet.")

    class Meta:
        model = ModelTrim
        fields = [*ModelTrimSerializer.Meta.fields, "sensitivity"]


class DayModelSerializer(ApplianceModelSerializer):
    """A maker's model with what advice needs of its trims."""

    trims = DayTrimSerializer(many=True)

    class Meta:
        model = ApplianceModel
        fields = ApplianceModelSerializer.Meta.fields


class DayLimitSerializer(serializers.ModelSerializer[SafetyLimit]):
    class Meta:
        model = SafetyLimit
        fields = ["quantity", "level", "value", "country", "source", "mark", "in_force_on"]


class DayLimitSetSerializer(serializers.Serializer[Any]):
    """The safety limits in force for a customer that day."""

    id = serializers.IntegerField()
    rows = DayLimitSerializer(many=True)


class DayGasSerializer(FuelSerializer):
    """A supplier's gas: `slug` is the fuel that it stands in for."""

    id = serializers.IntegerField()


class DayAnalyserSerializer(serializers.ModelSerializer[Analyser]):
    """An analyser in use and its period of the day. What the technician measured with lately comes first,
    then what lies free."""

    channels = AnalyserChannelSerializer(many=True)
    period = AnalyserPeriodSerializer(allow_null=True)

    class Meta:
        model = Analyser
        fields = ["uuid", "tag", "serial", "type_name", "fuel_setting", "settle_s", "channels", "period"]


class DayItemListSerializer(serializers.Serializer[Any]):
    """What one kind of visit asks, in the order of work: numbers in `items`."""

    id = serializers.IntegerField()
    items = serializers.ListField(child=serializers.IntegerField())


class DaySerializer(serializers.Serializer[Any]):
    """A technician's day. Attendances are in order; everything else is found by number or UUID."""

    technician = serializers.CharField()
    date = serializers.DateField()
    caution = serializers.CharField()
    attendances = DayAttendanceSerializer(many=True)
    plants = DayPlantSerializer(many=True)
    appliances = DayApplianceSerializer(many=True)
    models = DayModelSerializer(many=True)
    analysers = DayAnalyserSerializer(many=True)
    limits = DayLimitSetSerializer(many=True)
    fuels = FuelSerializer(many=True, help_text="The catalogue, at 15/15 °C.")
    gases = DayGasSerializer(many=True, help_text="Supplied gases that stand in for a fuel somewhere.")
    steps = serializers.ListField(child=serializers.DictField(), help_text="The order of work.")
    items = serializers.DictField(help_text="Number to item, as `/item-sets/` tells it.")
    item_lists = DayItemListSerializer(many=True)
    finding_kinds = serializers.DictField(help_text="Code to title, severity and what to do.")
    constants = serializers.DictField(help_text="Figures of the judgement that no row holds, with units.")
