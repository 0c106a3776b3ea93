"""Service records as they were handed out: what each said, its code, and the files made of it."""

from django.conf import settings
from django.db import models

from visits.models.visits import Attendance
from visits.querysets import ServiceRecordQuerySet


class ServiceRecord(models.Model):
    """One issue of an attendance's service record. Rows are only added; the newest one stands.

    The whole content is kept, so that a copy can be compared with what was issued however the rows it was
    taken from change. `digest` is the SHA-256 of code, revision and content as canonical JSON.
    """

    attendance = models.ForeignKey(Attendance, on_delete=models.PROTECT, related_name="service_records")
    revision = models.PositiveIntegerField()
    code = models.CharField(max_length=12, unique=True, help_text="By which anyone can look it up.")
    digest = models.BinaryField(max_length=32)
    visit_revisions = models.JSONField(help_text="UUID of each visit in it to the visit's revision.")
    content = models.BinaryField(help_text="Compressed JSON, as handed out.")
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="Who asked for it first. Empty: the demo, or a command.",
    )

    objects = ServiceRecordQuerySet.as_manager()

    class Meta:
        ordering = ["attendance_id", "revision"]
        constraints = [
            models.UniqueConstraint(fields=["attendance", "revision"], name="service_record_once"),
        ]

    def __str__(self) -> str:
        return f"service record {self.code}, revision {self.revision}"


class RecordFile(models.Model):
    """A file made of a service record, known by its SHA-256: a copy is that file or is not."""

    record = models.ForeignKey(ServiceRecord, on_delete=models.CASCADE, related_name="files")
    digest = models.BinaryField(max_length=32)
    variant = models.CharField(max_length=20, help_text="Units and paper.")
    made_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["record", "digest"], name="record_file_once")]

    def __str__(self) -> str:
        return f"{self.variant} of {self.record}"
