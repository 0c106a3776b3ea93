"""Safety states of appliances: who set them, when, why, and who was told."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from common.constraints import one_of
from fleet.models.appliances import Appliance, SafetyState

OFF = (SafetyState.LEFT_OFF, SafetyState.ISOLATED)


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
