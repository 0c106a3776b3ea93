"""What was read and what was moved: firing tests, adjustments, temporary changes, items."""

from django.db import models

from common.constraints import finite, one_of
from fleet.models import Burner, FuelSlug, Point
from visits.measured import MEASURED_FIELDS
from visits.models.visits import Visit
from visits.querysets import FiringTestQuerySet


class Phase(models.TextChoices):
    AS_FOUND = "as_found", "as found"
    WORKING = "working", "working"
    AS_LEFT = "as_left", "as left"


class Row(models.Model):
    """A row of a visit, named by its device's key; withdrawn rather than deleted."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="%(class)ss")
    key = models.CharField(max_length=64)
    withdrawn_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        abstract = True


class FiringTest(Row):
    """One firing point of one burner in one phase, with its settled values as columns.

    The settled values are what drift and pages read; the readings they rest on stand in the visit's record.
    """

    class Settled(models.TextChoices):
        STATED = "stated", "settled, as stated"
        STREAMED = "streamed", "settled, from the stream"
        NOT_SETTLED = "not_settled", "not settled"
        UNKNOWN = "unknown", "not known"

    class Why(models.TextChoices):
        """Why a test is not settled."""

        TOO_SOON = "too_soon", "the analyser has not had its time since the last change"
        TOO_FEW = "too_few", "too few readings to tell"
        SLOPING = "sloping", "the reading still moves"
        SCATTERED = "scattered", "the reading scatters more than the analyser resolves"

    class Source(models.TextChoices):
        MEASURED = "measured", "measured"
        DERIVED = "derived", "derived"

    burner = models.ForeignKey(Burner, on_delete=models.PROTECT, related_name="firing_tests")
    point = models.CharField(max_length=8, choices=Point)
    percent = models.FloatField(null=True, blank=True)
    phase = models.CharField(max_length=8, choices=Phase)
    sequence = models.PositiveIntegerField()
    observed_at = models.DateTimeField(null=True, help_text="Device clock, of the settled value.")
    window_from_at = models.DateTimeField(
        null=True, help_text="Device clock, of the first reading that the settled value is a mean of."
    )
    settled = models.CharField(max_length=11, choices=Settled, default=Settled.UNKNOWN)
    settled_why = models.CharField(max_length=9, choices=Why, blank=True, help_text="Why it is not settled.")
    settle_to_go_s = models.FloatField(null=True, help_text="Seconds still to wait, where not settled.")
    since_change_s = models.FloatField(
        null=True, help_text="From the last known change to the settled value."
    )
    probe_out = models.BooleanField(default=False, help_text="The probe fell out; what came before counts.")
    thermally_steady = models.BooleanField(
        null=True, help_text="Flue, return and flow temperature steady; efficiency is indicative until then."
    )
    began_at = models.DateTimeField(null=True, help_text="Device clock, of the first reading.")
    forced_at = models.DateTimeField(null=True, help_text="Device clock, when the rate was forced.")
    fuel = models.CharField(max_length=20, choices=FuelSlug)
    co2_source = models.CharField(max_length=8, choices=Source, default=Source.DERIVED)
    moved_before = models.BooleanField(
        null=True, help_text="A trim had moved before this as-found test was read."
    )
    inferred = models.BooleanField(default=False, help_text="Corrected for a throttle move made before it.")
    inferred_ln_phi = models.FloatField(
        null=True, help_text="What the move changed ln(1/air ratio) by: taken off what was read."
    )
    inferred_u_ln_phi = models.FloatField(null=True, help_text="Its standard uncertainty.")
    kept_out = models.CharField(max_length=40, blank=True, help_text="Why drift leaves it out, as a code.")
    co2_pct = models.FloatField(null=True)
    o2_pct = models.FloatField(null=True)
    co_ppm = models.FloatField(null=True)
    nox_ppm = models.FloatField(null=True)
    flue_temp_c = models.FloatField(null=True)
    air_temp_c = models.FloatField(null=True)
    flow_temp_c = models.FloatField(null=True)
    return_temp_c = models.FloatField(null=True)
    inlet_pressure_mbar = models.FloatField(null=True)
    gas_rate_m3_h = models.FloatField(null=True)
    flame_signal_ua = models.FloatField(null=True)
    fan_rpm = models.FloatField(null=True)
    ambient_co_ppm = models.FloatField(null=True)
    u_co2_pct = models.FloatField(null=True, help_text="Standard uncertainty by the window's scatter.")
    u_o2_pct = models.FloatField(null=True, help_text="Standard uncertainty by the window's scatter.")
    u_co_ppm = models.FloatField(null=True, help_text="Standard uncertainty by the window's scatter.")
    co_sustained_ppm = models.FloatField(null=True, help_text="Highest CO that stood for a minute, dry.")
    co_peak_ppm = models.FloatField(null=True, help_text="Highest CO of the stream, dry.")

    objects = FiringTestQuerySet.as_manager()

    class Meta:
        ordering = ["visit_id", "sequence", "id"]
        indexes = [models.Index(fields=["burner", "phase", "point"])]
        constraints = [
            models.UniqueConstraint(fields=["visit", "key"], name="firing_test_key_once"),
            one_of("test_point", "point", Point.values),
            one_of("test_phase", "phase", Phase.values),
            one_of("test_settled", "settled", ["stated", "streamed", "not_settled", "unknown"]),
            one_of("test_settled_why", "settled_why", ["", "too_soon", "too_few", "sloping", "scattered"]),
            one_of("test_co2_source", "co2_source", ["measured", "derived"]),
            one_of("test_fuel", "fuel", FuelSlug.values),
            *finite(
                "test",
                [
                    *(*MEASURED_FIELDS, "percent", "co_sustained_ppm", "co_peak_ppm"),
                    *("u_co2_pct", "u_o2_pct", "u_co_ppm", "settle_to_go_s", "inferred_ln_phi"),
                ],
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_point_display()} {self.get_phase_display()}"


class Adjustment(Row):
    """One move of a trim, as seen: stored even where the model has no such trim or no direction came."""

    burner = models.ForeignKey(Burner, on_delete=models.PROTECT, related_name="adjustments")
    trim = models.CharField(max_length=40)
    at = models.DateTimeField(null=True, blank=True)
    direction = models.CharField(max_length=20, blank=True)
    turns = models.FloatField(null=True, blank=True)
    marks = models.FloatField(null=True, blank=True)
    before_test = models.CharField(max_length=64, blank=True)
    after_test = models.CharField(max_length=64, blank=True)
    before_co2_pct = models.FloatField(null=True, help_text="Settled value before, where that test is known.")
    after_co2_pct = models.FloatField(null=True, help_text="Settled value after, where that test is known.")

    class Meta:
        ordering = ["visit_id", "at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "key"], name="adjustment_key_once"),
            *finite("adjustment", ["turns", "marks", "before_co2_pct", "after_co2_pct"]),
        ]

    def __str__(self) -> str:
        return f"{self.trim} {self.direction}".strip()


class TemporaryChange(Row):
    """A setting altered only for the test, which must be put back."""

    what = models.CharField(max_length=120)
    was = models.CharField(max_length=120, blank=True)
    set_to = models.CharField(max_length=120, blank=True)
    changed_at = models.DateTimeField(null=True, blank=True)
    put_back_at = models.DateTimeField(null=True, blank=True)
    reason = models.CharField(max_length=400, blank=True, help_text="Why it was not put back.")

    class Meta:
        ordering = ["visit_id", "changed_at", "id"]
        constraints = [models.UniqueConstraint(fields=["visit", "key"], name="temporary_change_key_once")]

    def __str__(self) -> str:
        return self.what


class PlantSetting(Row):
    """A setting of one unit of the plant as it stood before the attendance and as it stands after."""

    unit = models.CharField(max_length=120, help_text="Which unit, by its name or tag.")
    setting = models.CharField(max_length=120)
    before = models.CharField(max_length=120, blank=True)
    after = models.CharField(max_length=120, blank=True, help_text="Empty: not read again.")
    reason = models.CharField(max_length=400, blank=True, help_text="Why it stays changed.")

    class Meta:
        ordering = ["visit_id", "id"]
        constraints = [models.UniqueConstraint(fields=["visit", "key"], name="plant_setting_key_once")]

    def __str__(self) -> str:
        return f"{self.setting} of {self.unit}"

    @property
    def differs(self) -> bool:
        """Both were read and they are not the same; spaces and capitals aside."""
        return bool(self.before and self.after) and _plain(self.before) != _plain(self.after)


def _plain(text: str) -> str:
    return " ".join(text.split()).casefold()


class VisitItem(Row):
    """One item of the visit's list: a tick, a number with its unit, or a choice."""

    class State(models.TextChoices):
        DONE = "done", "done"
        NOT_DONE = "not_done", "not done"
        NOT_APPLICABLE = "not_applicable", "not applicable"

    code = models.CharField(max_length=60)
    state = models.CharField(max_length=14, choices=State)
    number = models.FloatField(null=True, blank=True)
    unit = models.CharField(max_length=20, blank=True)
    choice = models.CharField(max_length=60, blank=True)
    reason = models.CharField(max_length=400, blank=True)
    note = models.CharField(max_length=400, blank=True)
    at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["visit_id", "id"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "key"], name="visit_item_key_once"),
            one_of("item_state", "state", ["done", "not_done", "not_applicable"]),
            *finite("item", ["number"]),
        ]

    def __str__(self) -> str:
        return f"{self.code}: {self.get_state_display()}"
