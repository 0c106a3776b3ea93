"""Reference data of the fleet in the admin: makers, models, trims, specs. Limits are there to read."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from fleet.models import (
    ApplianceModel,
    FiringSpec,
    GasArea,
    ItemSet,
    LoadAssumption,
    Maker,
    ModelTrim,
    PutBackSuggestion,
    SafetyCategory,
    SafetyEvent,
    SafetyLimit,
    ServiceItem,
    TurnSensitivity,
)
from people.admin_site import RecordAdmin, ReferenceAdmin


class _Inline:
    extra = 0

    def has_add_permission(self, request: object, obj: object = None) -> bool:
        return True

    has_view_permission = has_change_permission = has_delete_permission = has_add_permission


class TrimInline(_Inline, admin.TabularInline):  # type: ignore[type-arg]
    model = ModelTrim


class SpecInline(_Inline, admin.StackedInline):  # type: ignore[type-arg]
    model = FiringSpec


@admin.register(Maker)
class MakerAdmin(ReferenceAdmin):
    search_fields = ["name"]


@admin.register(GasArea)
class GasAreaAdmin(ReferenceAdmin):
    list_display = ["name", "supply"]
    search_fields = ["name"]


@admin.register(ApplianceModel)
class ApplianceModelAdmin(ReferenceAdmin):
    list_display = ["name", "maker", "kind", "ratio_control", "input_gross_kw"]
    list_select_related = ["maker"]
    list_filter = ["maker", "ratio_control"]
    search_fields = ["name", "maker__name"]
    inlines = [TrimInline, SpecInline]


class ItemInline(_Inline, admin.StackedInline):  # type: ignore[type-arg]
    model = ServiceItem


@admin.register(ItemSet)
class ItemSetAdmin(ReferenceAdmin):
    """Saving a set, which editing one of its items does, tells every process to read the lists again."""

    list_display = ["name", "country", "kind", "model", "in_force_on"]
    list_select_related = ["model__maker"]
    inlines = [ItemInline]

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Older visits are judged by it."""
        return False


@admin.register(PutBackSuggestion)
class PutBackSuggestionAdmin(ReferenceAdmin):
    list_display = ["what", "set_to", "scope", "model", "kind", "sequencing", "season", "suggested"]
    list_select_related = ["model__maker"]
    list_filter = ["scope", "sequencing", "season"]


@admin.register(SafetyLimit)
class SafetyLimitAdmin(RecordAdmin):
    """Set on the limits page, which keeps what stood there before."""

    list_display = ["quantity", "level", "value", "country", "customer", "source", "in_force_on"]
    list_select_related = ["customer"]


@admin.register(LoadAssumption)
class LoadAssumptionAdmin(ReferenceAdmin):
    """What is assumed of a year's gas: the next drift run reckons with what stands here."""

    list_display = [
        "kind",
        "full_load_hours",
        "hours_u_common_pct",
        "hours_u_own_pct",
        "low_fire_share",
        "mark",
    ]

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Every kind has its row."""
        return False

    has_delete_permission = has_add_permission


@admin.register(TurnSensitivity)
class TurnSensitivityAdmin(RecordAdmin):
    """Learnt from recorded moves, and learnt again when more are recorded."""

    list_display = [
        "trim", "unit", "effect", "effect_low", "effect_high", "spread", "moves", "burners", "set_aside",
        "why_way_only", "learnt_at",
    ]  # fmt: skip
    list_select_related = ["trim__model__maker"]
    list_filter = ["why_way_only"]


@admin.register(SafetyCategory)
class SafetyCategoryAdmin(ReferenceAdmin):
    list_display = ["name", "country", "code", "state", "listed"]
    list_filter = ["country"]


@admin.register(SafetyEvent)
class SafetyEventAdmin(RecordAdmin):
    list_display = ["appliance", "state", "at", "by", "told"]
    list_select_related = ["appliance", "by"]
    ordering = ["-pk"]
