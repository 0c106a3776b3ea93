"""Safety states of appliances: who set them, when, why, and who was told."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from common.constraints import one_of
from fleet.models.appliances import Appliance, SafetyState
from fleet.models.limits import SafetyLimit

OFF = (SafetyState.LEFT_OFF, SafetyState.ISOLATED)


class SafetyCategory(models.Model):
    """A word of a country's trade for a dangerous condition, and the state that usually goes with it."""

    country = models.CharField(max_length=2, blank=True, help_text="ISO 3166-1; empty: elsewhere.")
    code = models.SlugField(max_length=40)
    name = models.CharField(max_length=120)
    state = models.CharField(max_length=12, choices=SafetyState, blank=True)
    position = models.PositiveSmallIntegerField(default=0)
    listed = models.BooleanField(default=True, help_text="Off: no longer offered.")
    source = models.CharField(max_length=200)
    mark = models.CharField(max_length=8, choices=SafetyLimit.Mark)

    class Meta:
        ordering = ["country", "position", "id"]
        verbose_name_plural = "safety categories"
        constraints = [
            models.UniqueConstraint(fields=["country", "code"], name="safety_category_once_per_country"),
            one_of("safety_category_state", "state", ["", *SafetyState.values]),
            one_of("safety_category_mark", "mark", ["read", "memory", "practice", "own"]),
        ]

    def __str__(self) -> str:
        return self.name


class SafetyEvent(models.Model):
    """One change of an appliance's safety state. Rows are only added; the appliance repeats the last one.

    It records what people did and said. None of its states says that an appliance is free of danger.
    """

    class Answer(models.TextChoices):
        ACKNOWLEDGED = "acknowledged", "acknowledged"
        REFUSED = "refused", "refused to accept it"
        NOT_REACHED = "not_reached", "nobody could be reached"

    appliance = models.ForeignKey(Appliance, on_delete=models.PROTECT, related_name="safety_events")
    state = models.CharField(max_length=12, choices=SafetyState)
    at = models.DateTimeField(help_text="When it was done.")
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="Empty: a visit without a known technician.",
    )
    told = models.CharField(max_length=120, blank=True, help_text="Who was told at the site.")
    answer = models.CharField(max_length=12, choices=Answer, blank=True)
    reason = models.CharField(max_length=400)
    category = models.CharField(max_length=40, blank=True, help_text="What the country's trade calls it.")
    category_name = models.CharField(max_length=120, blank=True, help_text="Its name on that day.")
    key = models.UUIDField(
        null=True, blank=True, unique=True, help_text="The device's own, so that a retry does not double it."
    )
    visit_uuid = models.UUIDField(null=True, blank=True)
    noted_at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["appliance_id", "id"]
        constraints = [
            one_of("safety_event_state", "state", SafetyState.values),
            one_of("safety_event_answer", "answer", ["", "acknowledged", "refused", "not_reached"]),
            models.CheckConstraint(
                condition=~models.Q(answer__in=["acknowledged", "refused"]) | ~models.Q(told=""),
                name="safety_event_answer_of_someone",
                violation_error_message="An acknowledgement or refusal names who gave it.",
            ),
            models.CheckConstraint(
                condition=~models.Q(reason=""),
                name="safety_event_reason",
                violation_error_message="A safety state needs its reason.",
            ),
            models.UniqueConstraint(
                fields=["visit_uuid", "state"],
                condition=models.Q(visit_uuid__isnull=False),
                name="safety_event_once_per_visit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.appliance}: {self.get_state_display()}"
