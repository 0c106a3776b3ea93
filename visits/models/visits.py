"""Attendances, the visits they hold, and what each device last said of them."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from common.constraints import finite, one_of
from fleet.models import Analyser, AnalyserPeriod, Appliance, FuelSlug, Plant
from visits.querysets import AttendanceQuerySet, VisitQuerySet


class Kind(models.TextChoices):
    COMMISSIONING = "commissioning", "commissioning"
    ANNUAL_SERVICE = "annual_service", "annual service"
    RECHECK = "recheck", "recheck"
    BREAKDOWN = "breakdown", "breakdown"


class Outcome(models.TextChoices):
    COMPLETED = "completed", "completed"
    NO_HEAT_LOAD = "no_heat_load", "partly done: no heat load"
    LIMIT_REACHED = "limit_reached", "partly done: limit reached"
    PART_NEEDED = "part_needed", "partly done: part needed"
    PARTLY_DONE = "partly_done", "partly done"
    NO_ACCESS = "no_access", "no access"
    REFUSED = "refused", "refused"
    LEFT_OFF = "left_off", "left off"


class Attendance(models.Model):
    """One arrival at one plant, booked by the office or opened by the first visit of the day."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="attendances")
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="attendances"
    )
    local_on = models.DateField(help_text="The day at the site.")
    planned_start_at = models.DateTimeField(null=True, blank=True)
    position = models.PositiveSmallIntegerField(default=0, help_text="Order in the technician's day.")
    arrived_at = models.DateTimeField(null=True, blank=True)
    left_at = models.DateTimeField(null=True, blank=True)
    travel_minutes = models.FloatField(null=True, blank=True)
    access_notes = models.TextField(blank=True)
    contact_name = models.CharField(max_length=120, blank=True)
    signed_name = models.CharField(max_length=120, blank=True)
    signed_at = models.DateTimeField(null=True, blank=True)
    booked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    cancelled_at = models.DateTimeField(null=True, blank=True)

    objects = AttendanceQuerySet.as_manager()

    class Meta:
        ordering = ["local_on", "position", "id"]
        indexes = [models.Index(fields=["technician", "local_on"])]
        constraints = [
            models.UniqueConstraint(
                fields=["plant", "technician", "local_on"],
                condition=models.Q(cancelled_at__isnull=True),
                name="attendance_once_per_day",
            ),
            models.UniqueConstraint(
                fields=["plant", "local_on"],
                condition=models.Q(technician__isnull=True, cancelled_at__isnull=True),
                name="attendance_unnamed_once_per_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.plant} on {self.local_on}"


class Visit(models.Model):
    """One appliance seen during an attendance. Open, then closed with an outcome; never edited after."""

    class Source(models.TextChoices):
        REST = "rest", "sent by a device"
        BROWSER = "browser", "entered in the browser"
        IMPORT = "import", "imported history"

    uuid = models.UUIDField(unique=True)
    attendance = models.ForeignKey(Attendance, on_delete=models.PROTECT, related_name="visits")
    appliance = models.ForeignKey(Appliance, on_delete=models.PROTECT, related_name="visits")
    kind = models.CharField(max_length=16, choices=Kind)
    source = models.CharField(max_length=8, choices=Source, default=Source.REST)
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="visits"
    )
    analyser = models.ForeignKey(
        Analyser, on_delete=models.PROTECT, null=True, blank=True, related_name="visits"
    )
    analyser_period = models.ForeignKey(
        AnalyserPeriod, on_delete=models.PROTECT, null=True, blank=True, related_name="visits"
    )
    analyser_text = models.CharField(max_length=120, blank=True, help_text="An analyser that is not on file.")
    fuel = models.CharField(max_length=20, choices=FuelSlug, help_text="Burned on the day.")
    opened_at = models.DateTimeField(help_text="Device clock.")
    closed_at = models.DateTimeField(null=True, blank=True, help_text="Device clock.")
    local_on = models.DateField(help_text="The day at the site.")
    received_at = models.DateTimeField(db_default=Now(), help_text="Our clock, first save.")
    closed_received_at = models.DateTimeField(null=True, blank=True, help_text="Our clock.")
    outcome = models.CharField(max_length=14, choices=Outcome, blank=True)
    revision = models.PositiveIntegerField(default=1)
    uncountersigned = models.BooleanField(default=False)
    countersigned_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    countersigned_at = models.DateTimeField(null=True, blank=True)
    notes = models.TextField(blank=True)
    health_as_found = models.FloatField(null=True)
    health_as_found_full = models.BooleanField(default=False)
    health_as_found_weakest = models.CharField(max_length=80, blank=True)
    health_as_left = models.FloatField(null=True)
    health_as_left_full = models.BooleanField(default=False)
    health_as_left_weakest = models.CharField(max_length=80, blank=True)
    health_checked = models.JSONField(default=dict, help_text="Phase to the names of the limits checked.")

    objects = VisitQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["appliance", "-opened_at"]),
            models.Index(fields=["-opened_at", "-id"]),
            models.Index(fields=["technician", "-opened_at"]),
        ]
        constraints = [
            one_of("visit_kind", "kind", Kind.values),
            one_of("visit_source", "source", ["rest", "browser", "import"]),
            one_of("visit_outcome", "outcome", ["", *Outcome.values]),
            models.CheckConstraint(
                condition=models.Q(closed_at__isnull=True, outcome="")
                | (models.Q(closed_at__isnull=False) & ~models.Q(outcome="")),
                name="visit_closed_with_outcome",
                violation_error_message="A visit is closed with an outcome, and has none while it is open.",
            ),
            models.CheckConstraint(
                condition=models.Q(countersigned_by__isnull=True, countersigned_at__isnull=True)
                | models.Q(countersigned_by__isnull=False, countersigned_at__isnull=False),
                name="visit_countersigned_by_someone",
            ),
            *finite("visit", ["health_as_found", "health_as_left"]),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.appliance} on {self.local_on}"

    @property
    def is_closed(self) -> bool:
        """Closed visits change only by a correction."""
        return self.closed_at is not None


class VisitRecord(models.Model):
    """The record of a visit as its devices sent it, whole: the readings are the truth, other rows follow.

    While the visit is open the current row changes with each save. Closing it settles the row; a correction
    adds the next revision, naming the row it corrects, and both stay. Imported visits have none.
    """

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="records")
    revision = models.PositiveIntegerField()
    current = models.BooleanField(default=True)
    corrects = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(db_default=Now())
    reason = models.CharField(max_length=400, blank=True)
    document = models.BinaryField(help_text="Compressed JSON: members and rows, each with its device.")
    answers = models.BinaryField(
        help_text="Compressed JSON: per device its last save and what it was answered."
    )

    class Meta:
        ordering = ["visit_id", "revision"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "revision"], name="visit_record_once"),
            models.UniqueConstraint(
                fields=["visit"], condition=models.Q(current=True), name="visit_record_one_current"
            ),
            models.CheckConstraint(
                condition=models.Q(corrects__isnull=True) | ~models.Q(reason=""),
                name="correction_has_reason",
                violation_error_message="A correction needs its reason.",
            ),
        ]

    def __str__(self) -> str:
        return f"revision {self.revision} of visit {self.visit_id}"
