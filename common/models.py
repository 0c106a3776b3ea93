"""The outbox and the audit line. Nothing here knows a word of the trade."""

from django.db import models
from django.db.models.functions import Now


class OutboxEvent(models.Model):
    """Something that happened, written in the transaction that made it true.

    Ids commit out of order, so a consumer never keeps a high-water mark: it looks for events without a
    delivery of its own.
    """

    kind = models.CharField(max_length=60)
    subject_id = models.BigIntegerField()
    payload = models.JSONField(default=dict)
    created_at = models.DateTimeField(db_default=Now())

    class Meta:
        indexes = [models.Index(fields=["kind", "id"])]

    def __str__(self) -> str:
        return f"{self.kind} {self.subject_id}"


class OutboxDelivery(models.Model):
    """One consumer's hold on one event: done, waiting to be tried again, or set aside after many tries."""

    class State(models.TextChoices):
        DONE = "done", "done"
        WAITING = "waiting", "waiting to be tried again"
        SET_ASIDE = "set_aside", "set aside"

    event = models.ForeignKey(OutboxEvent, on_delete=models.CASCADE, related_name="deliveries")
    consumer = models.CharField(max_length=60)
    state = models.CharField(max_length=10, choices=State)
    tries = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField(null=True)
    error = models.TextField(blank=True)
    updated_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["event", "consumer"], name="outbox_delivery_once"),
            models.CheckConstraint(
                condition=models.Q(state__in=["done", "waiting", "set_aside"]), name="outbox_delivery_state"
            ),
        ]
        indexes = [
            models.Index(
                fields=["consumer", "next_try_at"],
                name="outbox_delivery_waiting",
                condition=models.Q(state="waiting"),
            )
        ]

    def __str__(self) -> str:
        return f"{self.consumer}: {self.state}"


class AuditLine(models.Model):
    """Who did what to which row, when. Lines are only added.

    The actor and subject are plain identifiers, so that a line outlives both and this app imports neither.
    """

    at = models.DateTimeField(db_default=Now())
    actor_id = models.BigIntegerField(null=True)
    actor_name = models.CharField(max_length=200)
    verb = models.CharField(max_length=60)
    subject_type = models.CharField(max_length=60)
    subject_id = models.BigIntegerField()
    detail = models.JSONField(default=dict)

    class Meta:
        indexes = [models.Index(fields=["subject_type", "subject_id", "at"])]

    def __str__(self) -> str:
        return f"{self.actor_name} {self.verb} {self.subject_type} {self.subject_id}"
