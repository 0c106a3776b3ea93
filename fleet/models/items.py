"""What is checked and noted on a visit, as data: item sets by kind, model and country, and their items."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import models

from common.constraints import one_of, ordered, within
from fleet.models.catalogue import ApplianceModel, FuelSlug

VISIT_KINDS = ("commissioning", "annual_service", "recheck", "breakdown")
CHOICE_MEANINGS = ("good", "advise", "act")


class WorkStep(models.TextChoices):
    """The order of work. Its text here is the heading a device shows."""

    ARRIVE = "arrive", "On arrival"
    SETTINGS = "settings", "Settings as they stand"
    AS_FOUND = "as_found", "As found, case closed"
    ISOLATE = "isolate", "Isolate, prove, cool"
    INSPECT = "inspect", "Inspect and clean"
    REASSEMBLE = "reassemble", "Reassemble and test for tightness"
    SAFETY_DEVICES = "safety_devices", "Safety devices"
    FIRING = "firing", "Firing: high, low, high"
    SEAL = "seal", "Seal trims and test points"
    PUT_BACK = "put_back", "Put back"
    RUNNING = "running", "Running in normal control"
    CLOSE = "close", "Before leaving"


class Opening(models.TextChoices):
    """What holds gas and is opened in the course of the work."""

    GASWAY = "gasway", "the gasway"
    TEST_POINT = "test_point", "a pressure test point"


class ItemSet(models.Model):
    """A list of items for a kind of appliance, or one model, in one country or everywhere.

    Sets lie over each other: for each code the most particular row in force is asked (a model's, else a
    country's, else the general one), so that a national set holds only what differs. What was asked on an
    older day stays on file: a changed list is a further set with its own day.
    """

    name = models.CharField(max_length=120)
    kind = models.CharField(
        max_length=12, choices=ApplianceModel.Kind, blank=True, help_text="Empty: every kind."
    )
    model = models.ForeignKey(
        ApplianceModel, on_delete=models.PROTECT, null=True, blank=True, related_name="item_sets"
    )
    country = models.CharField(max_length=2, blank=True, help_text="ISO 3166-1; empty: everywhere.")
    in_force_on = models.DateField()
    changed_at = models.DateTimeField(auto_now=True, help_text="By this a process knows that it read it.")

    class Meta:
        ordering = ["country", "kind", "in_force_on", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "country", "in_force_on"],
                condition=models.Q(model__isnull=True),
                name="item_set_once_per_kind",
            ),
            models.UniqueConstraint(
                fields=["kind", "country", "in_force_on", "model"],
                condition=models.Q(model__isnull=False),
                name="item_set_once_per_model",
            ),
            one_of("item_set_kind", "kind", ["", *ApplianceModel.Kind.values]),
        ]

    def __str__(self) -> str:
        return self.name


class ServiceItem(models.Model):
    """One item: a tick, a number with unit and limits, or a choice, each choice with what it means.

    A limit names its source. Without limits a number is only kept: the maker's figure is in the maker's
    instructions, and a set for the model puts it here.
    """

    class Answer(models.TextChoices):
        TICK = "tick", "tick"
        NUMBER = "number", "number"
        CHOICE = "choice", "choice"

    class Mark(models.TextChoices):
        READ = "read", "read in the source or a copy of it"
        MEMORY = "memory", "from memory, to be verified"
        PRACTICE = "practice", "common practice, no source"
        MAKER = "maker", "the maker's figure"
        OWN = "own", "the firm's or customer's own"

    item_set = models.ForeignKey(ItemSet, on_delete=models.CASCADE, related_name="items")
    code = models.SlugField(max_length=60, help_text="Stable: answers are kept by it.")
    step = models.CharField(max_length=14, choices=WorkStep)
    position = models.PositiveSmallIntegerField(help_text="Order inside the step.")
    text = models.CharField(max_length=200)
    answer = models.CharField(max_length=6, choices=Answer, default=Answer.TICK)
    unit = models.CharField(max_length=20, blank=True)
    low = models.FloatField(null=True, blank=True)
    high = models.FloatField(null=True, blank=True)
    choices = models.JSONField(
        default=list, blank=True, help_text='Each {"code", "text", "means": good, advise or act}.'
    )
    source = models.CharField(max_length=200, help_text="What the limits, or the item itself, rest on.")
    mark = models.CharField(max_length=8, choices=Mark)
    visit_kinds = models.JSONField(default=list, blank=True, help_text="Empty: every kind of visit.")
    fuels = models.JSONField(default=list, blank=True, help_text="Slugs; empty: every fuel.")
    condensing_only = models.BooleanField(default=False)
    required = models.BooleanField(default=True, help_text="Missed where it is not answered at closing.")
    asked = models.BooleanField(default=True, help_text="Off: this set leaves the item out.")
    opens = models.CharField(
        max_length=10, choices=Opening, blank=True, help_text="What holding gas is opened by doing it."
    )
    proves_tight = models.CharField(
        max_length=10, choices=Opening, blank=True, help_text="What is proved tight by a good answer."
    )
    safety_quantity = models.CharField(
        max_length=16,
        blank=True,
        help_text="A number held against these safety limits rather than its own.",
    )
    caution = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["item_set_id", "step", "position", "id"]
        constraints = [
            models.UniqueConstraint(fields=["item_set", "code"], name="item_code_once_per_set"),
            one_of("service_item_step", "step", WorkStep.values),
            one_of("service_item_answer", "answer", ["tick", "number", "choice"]),
            one_of("service_item_mark", "mark", ["read", "memory", "practice", "maker", "own"]),
            one_of("service_item_opens", "opens", ["", *Opening.values]),
            one_of("service_item_proves_tight", "proves_tight", ["", *Opening.values]),
            one_of("service_item_safety", "safety_quantity", ["", "ambient_co_ppm"]),
            models.CheckConstraint(
                condition=models.Q(answer="number") | models.Q(low__isnull=True, high__isnull=True, unit=""),
                name="service_item_limits_of_a_number",
                violation_error_message="Only a number has a unit and limits.",
            ),
            within("service_item_low", "low", -100_000, 100_000),
            within("service_item_high", "high", -100_000, 100_000),
            ordered("service_item_limits", "low", "high"),
        ]

    def __str__(self) -> str:
        return f"{self.code} in {self.item_set}"

    def clean(self) -> None:
        """The lists hold what they may; a choice has choices, and nothing else has."""
        errors: dict[str, str] = {}
        if not _all_of(self.visit_kinds, VISIT_KINDS):
            errors["visit_kinds"] = f"List kinds of visit: {', '.join(VISIT_KINDS)}."
        if not _all_of(self.fuels, FuelSlug.values):
            errors["fuels"] = "List slugs of fuels that are on file."
        if not isinstance(self.choices, list) or not all(_is_choice(choice) for choice in self.choices):
            errors["choices"] = "Each choice has a code, a text, and means good, advise or act."
        elif (self.answer == self.Answer.CHOICE) != bool(self.choices):
            errors["choices"] = "An item answered by choice has choices, and no other has."
        if errors:
            raise ValidationError(errors)

    def meaning_of(self, choice: str) -> str | None:
        """What a choice means: good, advise or act; None where it is none of the list."""
        return next((row["means"] for row in self.choices if row["code"] == choice), None)


def _all_of(value: Any, known: Any) -> bool:
    return isinstance(value, list) and all(isinstance(item, str) and item in known for item in value)


def _is_choice(value: Any) -> bool:
    return (
        isinstance(value, dict)
        and set(value) == {"code", "text", "means"}
        and all(isinstance(text, str) and 0 < len(text) <= 120 for text in value.values())
        and value["means"] in CHOICE_MEANINGS
    )
