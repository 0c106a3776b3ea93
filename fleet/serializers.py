"""What comes out of the REST addresses of the fleet."""

from typing import Any

from rest_framework import serializers

from fleet.models import (
    Analyser,
    AnalyserChannel,
    AnalyserPeriod,
    Appliance,
    ApplianceModel,
    Burner,
    Customer,
    FiringSpec,
    ModelTrim,
    Plant,
    Site,
    TrimKind,
)


class CustomerSerializer(serializers.ModelSerializer[Customer]):
    class Meta:
        model = Customer
        fields = ["id", "name", "country", "retired_on"]


class SiteSerializer(serializers.ModelSerializer[Site]):
    """How to get in is not told here: it comes with the technician's day."""

    customer = CustomerSerializer()
    gas_area = serializers.CharField(source="gas_area.name", default=None, allow_null=True)

    class Meta:
        model = Site
        fields = [
            "id",
            "customer",
            "name",
            "address",
            "latitude",
            "longitude",
            "elevation_m",
            "time_zone",
            "design_winter_air_c",
            "design_summer_air_c",
            "gas_area",
            "retired_on",
        ]


class PlaceSerializer(serializers.ModelSerializer[Plant]):
    """A plant with its site and customer by name."""

    site_id = serializers.IntegerField()
    site = serializers.CharField(source="site.name")
    customer_id = serializers.IntegerField(source="site.customer_id")
    customer = serializers.CharField(source="site.customer.name")

    class Meta:
        model = Plant
        fields = ["id", "name", "site_id", "site", "customer_id", "customer"]


class PlantSerializer(PlaceSerializer):
    class Meta:
        model = Plant
        fields = [
            *PlaceSerializer.Meta.fields,
            "sequencing",
            "annual_gas_kwh",
            "annual_gas_u_pct",
            "annual_gas_source",
            "retired_on",
        ]


class ModelTrimSerializer(serializers.ModelSerializer[ModelTrim]):
    trim = serializers.ChoiceField(source="kind", choices=TrimKind.choices)

    class Meta:
        model = ModelTrim
        fields = ["trim", "location", "tool", "lowers_co2", "mover", "max_step_turns"]


class FiringSpecSerializer(serializers.ModelSerializer[FiringSpec]):
    class Meta:
        model = FiringSpec
        exclude = ["id", "model"]


class ApplianceModelSerializer(serializers.ModelSerializer[ApplianceModel]):
    """A maker's model with its trims and what it should give."""

    maker = serializers.CharField(source="maker.name")
    trims = ModelTrimSerializer(many=True)
    firing_specs = FiringSpecSerializer(many=True)

    class Meta:
        model = ApplianceModel
        fields = [
            "id",
            "maker",
            "name",
            "kind",
            "ratio_control",
            "condensing",
            "input_gross_kw",
            "turndown",
            "control_pressure_pa",
            "fan_high_rpm",
            "fan_low_rpm",
            "forced_rate_s",
            "trims",
            "firing_specs",
        ]


class BurnerSerializer(serializers.ModelSerializer[Burner]):
    """Where a figure is null the model's holds."""

    class Meta:
        model = Burner
        fields = [
            "uuid",
            "position",
            "name",
            "turndown",
            "control_pressure_pa",
            "fan_high_rpm",
            "fan_low_rpm",
        ]


class ApplianceSerializer(serializers.ModelSerializer[Appliance]):
    plant = PlaceSerializer()
    model_id = serializers.IntegerField()
    model = serializers.CharField(source="model.__str__")

    class Meta:
        model = Appliance
        fields = [
            "uuid",
            "tag",
            "serial",
            "plant",
            "model_id",
            "model",
            "fuel",
            "input_gross_kw",
            "input_stated_kw",
            "input_stated_basis",
            "air_source",
            "safety_state",
            "annual_gas_kwh",
            "annual_gas_u_pct",
            "annual_gas_source",
            "installed_on",
            "next_due_on",
            "retired_on",
        ]


class ApplianceDetailSerializer(ApplianceSerializer):
    """One appliance with its burners and its model's trims and firing specs."""

    model = ApplianceModelSerializer()  # type: ignore[assignment]
    burners = BurnerSerializer(many=True)

    class Meta:
        model = Appliance
        fields = [*ApplianceSerializer.Meta.fields, "burners"]


class AnalyserChannelSerializer(serializers.ModelSerializer[AnalyserChannel]):
    class Meta:
        model = AnalyserChannel
        fields = ["quantity", "source", "accuracy_abs", "accuracy_rel", "resolution", "range_high"]


class AnalyserPeriodSerializer(serializers.ModelSerializer[AnalyserPeriod]):
    """Between two calibrations. The bias is reading minus truth at 9 % CO2, as the fleet's readings show."""

    class Meta:
        model = AnalyserPeriod
        fields = [
            "began",
            "starts_on",
            "calibration_due_on",
            "certificate",
            "bias_co2_pct",
            "bias_u_co2_pct",
            "bias_weak",
            "applied_bias_co2_pct",
            "applied_bias_u_co2_pct",
            "applied_bias_run",
        ]


class AnalyserSerializer(serializers.ModelSerializer[Analyser]):
    channels = AnalyserChannelSerializer(many=True)
    periods = AnalyserPeriodSerializer(many=True)

    class Meta:
        model = Analyser
        fields = [
            "uuid",
            "tag",
            "serial",
            "type_name",
            "fuel_setting",
            "settle_s",
            "retired_on",
            "channels",
            "periods",
        ]


class PropertiesSerializer(serializers.Serializer[Any]):
    """Of the gas at one reference (combustion / metering temperature, °C); `u_`: standard uncertainties."""

    reference = serializers.CharField()
    molar_mass_g_mol = serializers.FloatField()
    compression_factor = serializers.FloatField()
    gross_kj_mol = serializers.FloatField()
    u_gross_kj_mol = serializers.FloatField()
    net_kj_mol = serializers.FloatField()
    gross_mj_kg = serializers.FloatField()
    net_mj_kg = serializers.FloatField()
    gross_mj_m3 = serializers.FloatField()
    u_gross_mj_m3 = serializers.FloatField()
    net_mj_m3 = serializers.FloatField()
    density_kg_m3 = serializers.FloatField()
    relative_density = serializers.FloatField()
    wobbe_gross_mj_m3 = serializers.FloatField()
    u_wobbe_gross_mj_m3 = serializers.FloatField()
    wobbe_net_mj_m3 = serializers.FloatField()


class FuelSerializer(PropertiesSerializer):
    """A fuel by its composition, what it needs to burn, and what it makes. Flue gas dry unless said."""

    slug = serializers.CharField()
    name = serializers.CharField()
    composition = serializers.DictField(child=serializers.FloatField(), help_text="Mole fractions.")
    co2_max_pct = serializers.FloatField(help_text="CO2 in dry stoichiometric flue gas, vol %.")
    stoich_air_mol_per_mol = serializers.FloatField(help_text="Dry air, mol per mol of fuel.")
    stoich_dry_flue_mol_per_mol = serializers.FloatField()
    water_mol_per_mol = serializers.FloatField()
    fd_dscf_per_mmbtu = serializers.FloatField(help_text="EPA F factor, dry, gross heat.")
    fc_scf_per_mmbtu = serializers.FloatField(help_text="EPA carbon factor, gross heat.")
    fw_wscf_per_mmbtu = serializers.FloatField(help_text="EPA F factor, wet, gross heat.")
    fo = serializers.FloatField(allow_null=True, help_text="EPA fuel factor; null without carbon.")
    co2_kg_per_mmbtu = serializers.FloatField(help_text="Gross heat.")
    co2_kg_per_kwh_gross = serializers.FloatField()
