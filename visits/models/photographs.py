"""Photographs of a visit: what is kept of them, and the parts of one that is still on its way."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from common.constraints import one_of
from visits.models.visits import Visit
from visits.querysets import PhotographQuerySet


class Photograph(models.Model):
    """One photograph, named by its device's key. Only its pixels are kept: re-encoded, without metadata.

    It may come after the visit is closed, since pictures follow when there is signal; it never replaces
    another.
    """

    class State(models.TextChoices):
        RECEIVING = "receiving", "on its way"
        STORED = "stored", "stored"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="photographs")
    key = models.UUIDField(help_text="The device's own, so that a retry does not double it.")
    state = models.CharField(max_length=9, choices=State, default=State.RECEIVING)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    item = models.CharField(max_length=60, blank=True, help_text="Code of the item that it shows.")
    caption = models.CharField(max_length=200, blank=True)
    taken_at = models.DateTimeField(null=True, blank=True, help_text="Device clock.")
    received_at = models.DateTimeField(db_default=Now(), help_text="Our clock, first part.")
    changed_at = models.DateTimeField(help_text="Our clock, last part.")
    sent_sha256 = models.CharField(max_length=64, blank=True, help_text="Of the file as sent, hexadecimal.")
    sent_bytes = models.PositiveIntegerField(help_text="Size of the file as sent.")
    held_bytes = models.PositiveIntegerField(default=0, help_text="How much of it has come.")
    path = models.CharField(max_length=200, blank=True, help_text="In the private store.")
    stored_bytes = models.PositiveIntegerField(default=0)
    width_px = models.PositiveIntegerField(default=0)
    height_px = models.PositiveIntegerField(default=0)

    objects = PhotographQuerySet.as_manager()

    class Meta:
        ordering = ["visit_id", "id"]
        indexes = [
            models.Index(
                fields=["changed_at"],
                name="photograph_on_its_way",
                condition=models.Q(state="receiving"),
            )
        ]
        constraints = [
            models.UniqueConstraint(fields=["visit", "key"], name="photograph_key_once"),
            one_of("photograph_state", "state", ["receiving", "stored"]),
            models.CheckConstraint(
                condition=models.Q(held_bytes__lte=models.F("sent_bytes")),
                name="photograph_no_more_than_sent",
            ),
            models.CheckConstraint(
                condition=models.Q(state="receiving") | ~models.Q(path=""),
                name="photograph_stored_somewhere",
            ),
        ]

    def __str__(self) -> str:
        return self.caption or f"photograph {self.key}"


class PhotographPart(models.Model):
    """A part of a photograph on its way. Gone once it is whole, or when nothing followed for days."""

    photograph = models.ForeignKey(Photograph, on_delete=models.CASCADE, related_name="parts")
    start = models.PositiveIntegerField()
    data = models.BinaryField()

    class Meta:
        ordering = ["photograph_id", "start"]
        constraints = [models.UniqueConstraint(fields=["photograph", "start"], name="photograph_part_once")]

    def __str__(self) -> str:
        return f"from byte {self.start} of {self.photograph_id}"
