"""When each appliance must be seen again, and which visits the office must follow up: derived rows.

Everything here but a person's own word on a follow-up can be worked out again from the record.
"""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from common.constraints import one_of, ordered
from fleet.models import Appliance, Contract
from planning.querysets import DueDateQuerySet, FollowUpQuerySet
from visits.models import Outcome, Visit


class EarlierVisit(models.Model):
    """The office's word on an earlier visit that drift proposes: accepted with a day, or declined.

    It answers what was known after `basis_visit`; a later closed visit opens the question anew, and a
    completed one meets what was accepted.
    """

    class Decision(models.TextChoices):
        ACCEPTED = "accepted", "accepted"
        DECLINED = "declined", "declined"

    appliance = models.ForeignKey(Appliance, on_delete=models.CASCADE, related_name="earlier_visits")
    basis_visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="+")
    proposed_by = models.DateField(help_text="The day by which drift proposes to come.")
    evidence = models.CharField(max_length=600, help_text="What the proposal rested on, in words.")
    decision = models.CharField(max_length=8, choices=Decision)
    come_by = models.DateField(null=True, help_text="The day agreed, where accepted.")
    reason = models.CharField(max_length=400)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["appliance", "basis_visit"], name="earlier_visit_decided_once"),
            one_of("earlier_visit_decision", "decision", ["accepted", "declined"]),
            models.CheckConstraint(
                condition=models.Q(decision="accepted", come_by__isnull=False)
                | models.Q(decision="declined", come_by__isnull=True),
                name="earlier_visit_day_where_accepted",
                violation_error_message="An accepted earlier visit has a day, a declined one has none.",
            ),
        ]

    def __str__(self) -> str:
        return f"earlier visit of {self.appliance_id}: {self.get_decision_display()}"


class DueDate(models.Model):
    """An appliance's next date with what it rests on, or the reason why it has none."""

    class Rule(models.TextChoices):
        FIXED_ANNIVERSARY = "fixed_anniversary", "fixed anniversary"
        FROM_LAST_DONE = "from_last_done", "from last done"

    class Reason(models.TextChoices):
        NO_CONTRACT = "no_contract", "no contract covers its plant"
        CONTRACT_ENDED = "contract_ended", "the contract of its plant has ended"
        RETIRED = "retired", "retired"

    appliance = models.OneToOneField(Appliance, on_delete=models.CASCADE, related_name="due_date")
    due_on = models.DateField(null=True)
    window_from = models.DateField(null=True)
    window_to = models.DateField(null=True)
    rule = models.CharField(max_length=18, choices=Rule, blank=True)
    contract = models.ForeignKey(Contract, on_delete=models.SET_NULL, null=True, related_name="+")
    basis_visit = models.ForeignKey(
        Visit,
        on_delete=models.SET_NULL,
        null=True,
        related_name="+",
        help_text="The visit it is reckoned from; empty: from the contract's start or the installation.",
    )
    reason = models.CharField(max_length=14, choices=Reason, blank=True, help_text="Why there is no date.")
    earlier = models.ForeignKey(
        EarlierVisit,
        on_delete=models.SET_NULL,
        null=True,
        related_name="+",
        help_text="The accepted earlier visit that brought the date forward.",
    )

    objects = DueDateQuerySet.as_manager()

    class Meta:
        ordering = ["due_on", "id"]
        indexes = [
            models.Index(fields=["due_on", "id"]),
            models.Index(fields=["window_to"]),
            models.Index(fields=["window_from"]),
        ]
        constraints = [
            one_of("due_date_rule", "rule", ["", "fixed_anniversary", "from_last_done"]),
            one_of("due_date_reason", "reason", ["", "no_contract", "contract_ended", "retired"]),
            models.CheckConstraint(
                condition=models.Q(
                    due_on__isnull=False, window_from__isnull=False, window_to__isnull=False, reason=""
                )
                | (
                    models.Q(due_on__isnull=True, window_from__isnull=True, window_to__isnull=True)
                    & ~models.Q(reason="")
                ),
                name="due_date_or_reason",
                violation_error_message="An appliance has a date with its window, or a reason for none.",
            ),
            ordered("due_date_after_window_opens", "window_from", "due_on"),
            ordered("due_date_before_window_closes", "due_on", "window_to"),
        ]

    def __str__(self) -> str:
        return f"{self.appliance_id}: {self.due_on or self.get_reason_display()}"


class FollowUp(models.Model):
    """A closed visit that left something to do for the office: one per visit, gone when it is seen to.

    A later completed visit of the appliance closes it, and so may a person; a correction that takes away its
    cause, or the appliance's retirement, withdraws it.
    """

    class Cause(models.TextChoices):
        NO_HEAT_LOAD = Outcome.NO_HEAT_LOAD.value, Outcome.NO_HEAT_LOAD.label
        LIMIT_REACHED = Outcome.LIMIT_REACHED.value, Outcome.LIMIT_REACHED.label
        PART_NEEDED = Outcome.PART_NEEDED.value, Outcome.PART_NEEDED.label
        PARTLY_DONE = Outcome.PARTLY_DONE.value, Outcome.PARTLY_DONE.label
        NO_ACCESS = Outcome.NO_ACCESS.value, Outcome.NO_ACCESS.label
        REFUSED = Outcome.REFUSED.value, Outcome.REFUSED.label
        LEFT_OFF = Outcome.LEFT_OFF.value, Outcome.LEFT_OFF.label
        UNCOUNTERSIGNED = "uncountersigned", "completed, to be countersigned"

    class State(models.TextChoices):
        OPEN = "open", "open"
        DONE = "done", "done"
        WITHDRAWN = "withdrawn", "withdrawn"

    visit = models.OneToOneField(Visit, on_delete=models.CASCADE, related_name="follow_up")
    appliance = models.ForeignKey(Appliance, on_delete=models.CASCADE, related_name="follow_ups")
    cause = models.CharField(max_length=15, choices=Cause)
    state = models.CharField(max_length=9, choices=State, default=State.OPEN)
    closed_by_visit = models.ForeignKey(Visit, on_delete=models.SET_NULL, null=True, related_name="+")
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    done_at = models.DateTimeField(null=True)
    note = models.CharField(max_length=400, blank=True)
    made_at = models.DateTimeField(db_default=Now())

    objects = FollowUpQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(fields=["appliance"]),
            models.Index(fields=["id"], name="follow_up_open", condition=models.Q(state="open")),
        ]
        constraints = [
            one_of(
                "follow_up_cause",
                "cause",
                [
                    "no_heat_load",
                    "limit_reached",
                    "part_needed",
                    "partly_done",
                    "no_access",
                    "refused",
                    "left_off",
                    "uncountersigned",
                ],
            ),
            one_of("follow_up_state", "state", ["open", "done", "withdrawn"]),
            models.CheckConstraint(
                condition=models.Q(done_by__isnull=True, done_at__isnull=True, note="")
                | models.Q(done_by__isnull=False, done_at__isnull=False),
                name="follow_up_done_by_someone",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_cause_display()}: {self.get_state_display()}"


class PlanningRun(models.Model):
    """One reckoning of the whole fleet that was asked for: nightly, or by an import. At most once each."""

    period = models.CharField(max_length=40, unique=True, help_text="The night's date, or import and event.")
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(fields=["id"], name="planning_run_owed", condition=models.Q(finished_at=None)),
        ]

    def __str__(self) -> str:
        return self.period
