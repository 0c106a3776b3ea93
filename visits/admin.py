"""The record in the admin, to look at."""

from django.contrib import admin

from people.admin_site import RecordAdmin
from visits.models import Finding, FindingLife, Visit, VisitRecord


@admin.register(Visit)
class VisitAdmin(RecordAdmin):
    list_display = ["uuid", "appliance", "kind", "local_on", "outcome", "technician", "uncountersigned"]
    list_select_related = ["appliance", "technician"]
    ordering = ["-opened_at", "-pk"]


@admin.register(VisitRecord)
class VisitRecordAdmin(RecordAdmin):
    list_display = ["visit_id", "revision", "current", "by", "at", "reason"]
    list_select_related = ["by"]
    exclude = ["document", "answers"]
    ordering = ["-pk"]


@admin.register(Finding)
class FindingAdmin(RecordAdmin):
    list_display = ["code", "severity", "appliance", "life", "holds", "made_at"]
    list_select_related = ["appliance"]
    ordering = ["-pk"]


@admin.register(FindingLife)
class FindingLifeAdmin(RecordAdmin):
    list_display = ["finding", "life", "at", "by", "said_by"]
    list_select_related = ["finding", "by"]
    ordering = ["-pk"]
