"""Which columns each list has, and by which natural key a row is known."""

from typing import Any

from import_export.fields import Field
from import_export.resources import ModelResource
from import_export.widgets import ForeignKeyWidget

from common.sheets import inert
from fleet.models import Analyser, Appliance, ApplianceModel, Burner, Customer, GasArea, Plant, Site

YEARLY_GAS = ["annual_gas_kwh", "annual_gas_u_pct", "annual_gas_source"]


class Differences:
    """What a row of the file changes: (column, before, after), for the preview."""

    def __init__(self, resource: Any, instance: Any, new: bool) -> None:
        self._before = {} if new else _texts(resource, instance)
        self._after: dict[str, str] = {}

    def compare_with(self, resource: Any, instance: Any) -> None:
        """Take the row as it would be stored."""
        self._after = _texts(resource, instance) if instance is not None else {}

    def as_html(self) -> list[tuple[str, str, str]]:
        """Plain texts, which the page escapes. The name is the library's."""
        pairs = [(name, self._before.get(name, ""), after) for name, after in self._after.items()]
        return [pair for pair in pairs if pair[1] != pair[2]]


def _texts(resource: Any, instance: Any) -> dict[str, str]:
    return {
        field.column_name: str(field.export(instance) or "")
        for field in resource.get_import_fields()
        if not field.readonly
    }


class Known(ForeignKeyWidget):  # type: ignore[misc]
    """A row that must be on file, named by some columns; `within` maps look-ups to columns of the file."""

    def __init__(self, model: type[Any], field: str, within: dict[str, str] | None = None) -> None:
        super().__init__(model, field=field)
        self._within = within or {}

    def clean(self, value: Any, row: Any = None, **kwargs: Any) -> Any:
        """The row named. Raises ValueError where none is, or an empty cell names none."""
        if not value:
            return None
        place = {look_up: (row or {}).get(column, "") for look_up, column in self._within.items()}
        found = self.model.objects.filter(**{self.field: value}, **place).first()
        if found is None:
            under = "".join(f", {column} «{(row or {}).get(column, '')}»" for column in self._within.values())
            raise ValueError(f"No {self.model._meta.verbose_name} is on file as «{value}»{under}.")
        return found


class ListResource(ModelResource):  # type: ignore[misc]
    """Rows are added or changed, never deleted; what is equal is left alone; text that would run is inert."""

    class Meta:
        clean_model_instances = True
        skip_unchanged = True
        report_skipped = True
        use_transactions = True

    @classmethod
    def get_diff_class(cls) -> type[Differences]:
        """Texts in place of the library's coloured HTML, which the page's policy would not show."""
        return Differences

    def export_field(self, field: Any, instance: Any, **kwargs: Any) -> Any:
        """Numbers stay numbers; text that a spreadsheet would run gets an apostrophe before it."""
        value = field.get_value(instance)
        if isinstance(value, int | float) and not isinstance(value, bool):
            return value
        return inert(super().export_field(field, instance, **kwargs))


class CustomerList(ListResource):
    class Meta(ListResource.Meta):
        model = Customer
        import_id_fields = ["name"]
        fields = export_order = ["name", "email", "country", "retired_on"]


class SiteList(ListResource):
    customer = Field("customer", "customer", Known(Customer, "name"))
    gas_area = Field("gas_area", "gas_area", Known(GasArea, "name"))

    class Meta(ListResource.Meta):
        model = Site
        import_id_fields = ["customer", "name"]
        select_related = ["customer", "gas_area"]
        fields = export_order = [
            "customer",
            "name",
            "address",
            "access_notes",
            "gas_area",
            "elevation_m",
            "latitude",
            "longitude",
            "time_zone",
            "retired_on",
        ]


class PlantList(ListResource):
    customer = Field("site__customer__name", "customer", readonly=True)
    site = Field("site", "site", Known(Site, "name", {"customer__name": "customer"}))

    class Meta(ListResource.Meta):
        model = Plant
        import_id_fields = ["site", "name"]
        select_related = ["site__customer"]
        fields = export_order = [
            "customer",
            "site",
            "name",
            "sequencing",
            "access_notes",
            *YEARLY_GAS,
            "retired_on",
        ]


class ApplianceList(ListResource):
    customer = Field("plant__site__customer__name", "customer", readonly=True)
    site = Field("plant__site__name", "site", readonly=True)
    plant = Field(
        "plant",
        "plant",
        Known(Plant, "name", {"site__name": "site", "site__customer__name": "customer"}),
    )
    maker = Field("model__maker__name", "maker", readonly=True)
    model = Field("model", "model", Known(ApplianceModel, "name", {"maker__name": "maker"}))

    class Meta(ListResource.Meta):
        model = Appliance
        import_id_fields = ["plant", "tag"]
        select_related = ["plant__site__customer", "model__maker"]
        fields = export_order = [
            "customer",
            "site",
            "plant",
            "tag",
            "serial",
            "maker",
            "model",
            "fuel",
            "input_gross_kw",
            "air_source",
            *YEARLY_GAS,
            "installed_on",
            "retired_on",
        ]

    def after_save_instance(self, instance: Appliance, row: Any, **kwargs: Any) -> None:
        """At least one burner each."""
        Burner.objects.get_or_create(appliance=instance, position=1)


class AnalyserList(ListResource):
    class Meta(ListResource.Meta):
        model = Analyser
        import_id_fields = ["tag"]
        fields = export_order = ["tag", "serial", "type_name", "fuel_setting", "settle_s", "retired_on"]


KINDS: dict[str, type[ListResource]] = {
    "customers": CustomerList,
    "sites": SiteList,
    "plants": PlantList,
    "appliances": ApplianceList,
    "analysers": AnalyserList,
}
