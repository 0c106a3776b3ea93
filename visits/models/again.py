"""Judging again: what is owed, by what it was judged last, and what came of it on each visit."""

from django.db import models
from django.db.models.functions import Now

from common.constraints import finite, one_of
from visits.models.visits import Visit


class JudgeDuty(models.Model):
    """Visits that are to be judged again for one cause, the newest first; worked off in batches by the tick.

    One row per cause and subject. Asked again, it begins anew under the next `asked`.   `at_opened`,
    `at_visit`: the last visit done.
    """

    class Cause(models.TextChoices):
        BIAS = "bias", "an analyser's bias"
        ENGINE = "engine", "the judgement itself"
        SPECS = "specs", "a model's firing specs"
        LIMITS = "limits", "safety limits"
        GAS = "gas", "the supplied gas"
        ASKED = "asked", "asked for"

    cause = models.CharField(max_length=6, choices=Cause)
    subject = models.CharField(
        max_length=40,
        help_text="ID of period or model; engine version; site:ID, area:ID; COUNTRY:CUSTOMER.",
    )
    from_on = models.DateField(null=True, help_text="Visits from this local day on. Empty: all.")
    asked = models.PositiveIntegerField(default=1)
    asked_at = models.DateTimeField(db_default=Now())
    at_opened = models.DateTimeField(null=True)
    at_visit = models.BigIntegerField(null=True)
    visits = models.PositiveIntegerField(default=0, help_text="Judged so far.")
    changed = models.PositiveIntegerField(default=0, help_text="Of these, with another verdict or finding.")
    finished_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["asked_at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["cause", "subject"], name="judge_duty_once"),
            one_of("judge_duty_cause", "cause", ["bias", "engine", "specs", "limits", "gas", "asked"]),
        ]

    def __str__(self) -> str:
        return f"{self.get_cause_display()} ({self.subject})"


class JudgedAgain(models.Model):
    """A closed visit's judgement that came out differently when it was made again. Rows are only added.

    bias_*: what was taken off the analyser's readings this time; empty where nothing was.   was_bias_run: the
    run whose bias had been taken off before.   changes: `tests` (rows of test, place, from, to), `health`
    (phase to [before, after]), `came` and `went` (codes of findings).
    """

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="judged_again")
    at = models.DateTimeField()
    cause = models.CharField(max_length=6, choices=JudgeDuty.Cause)
    bias_run = models.BigIntegerField(null=True)
    bias_co2_pct = models.FloatField(null=True)
    bias_u_co2_pct = models.FloatField(null=True)
    was_bias_run = models.BigIntegerField(null=True)
    engine_version = models.PositiveSmallIntegerField()
    changes = models.JSONField()

    class Meta:
        ordering = ["visit_id", "id"]
        constraints = [
            one_of("judged_again_cause", "cause", ["bias", "engine", "specs", "limits", "gas", "asked"]),
            *finite("judged_again", ["bias_co2_pct", "bias_u_co2_pct"]),
        ]

    def __str__(self) -> str:
        return f"visit {self.visit_id} judged again: {self.get_cause_display()}"


class JudgedBasis(models.Model):
    """What a model's specs, a place's limits or a place's gas said when the tick last looked.

    rows: key of each row to a hash of its values; what differs now has changed since.
    """

    cause = models.CharField(max_length=6, choices=JudgeDuty.Cause)
    subject = models.CharField(max_length=40)
    rows = models.JSONField(default=dict)

    class Meta:
        ordering = ["cause", "subject"]
        constraints = [
            models.UniqueConstraint(fields=["cause", "subject"], name="judged_basis_once"),
            one_of("judged_basis_cause", "cause", ["specs", "limits", "gas"]),
        ]

    def __str__(self) -> str:
        return f"{self.get_cause_display()} ({self.subject})"
