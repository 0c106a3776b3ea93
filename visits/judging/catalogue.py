"""Every finding the engine can make: how grave, what it says, and what to do.

Sentences give value, limit and what the limit rests on. None of them declares anything safe.
"""

from collections.abc import Mapping
from typing import Any, Protocol

from django.utils.translation import gettext_lazy as _

from fleet.units import BY_UNIT
from people.models import Units
from visits.judging.item_catalogue import ITEM_FINDINGS
from visits.judging.kinds import FindingKind, Sentence
from visits.models import Severity

MAKE_SAFE_STEPS = _(
    "Make safe first: shut the appliance down, leave it off, ventilate, leave if your CO alarm sounds, and "
    "follow local procedure and the maker's instructions. Numbers come after."
)
_CHECK_ENTRY = _("Check the entry, the probe and the analyser, and read again.")
_MAKER = _("Follow the maker's instructions and local codes.")


def _implausible(title: Sentence, sentence: Sentence) -> FindingKind:
    return FindingKind(Severity.ADVISE, title, sentence, _CHECK_ENTRY, keeps_out_of_drift=True)


FINDINGS: dict[str, FindingKind] = {
    # Safety: always before everything else.
    "co_make_safe": FindingKind(
        Severity.MAKE_SAFE,
        _("CO at the make-safe level"),
        _(
            "{quantity} {value} {unit} at {place}, at or above the make-safe level of {limit} {unit} ({source})."
        ),
        MAKE_SAFE_STEPS,
    ),
    "co_over_range": FindingKind(
        Severity.MAKE_SAFE,
        _("CO sensor over range"),
        _(
            "CO {value} ppm at {place} is at or above the sensor's range of {limit} ppm: the true value may be higher."
        ),
        MAKE_SAFE_STEPS,
    ),
    "rich": FindingKind(
        Severity.MAKE_SAFE,
        _("Burner firing rich"),
        _("The readings at {place} say that there is less air than the gas needs."),
        MAKE_SAFE_STEPS,
        keeps_out_of_drift=True,
    ),
    "ambient_co_make_safe": FindingKind(
        Severity.MAKE_SAFE,
        _("CO in the room at the make-safe level"),
        _("CO in room air {value} ppm, at or above the make-safe level of {limit} ppm ({source})."),
        MAKE_SAFE_STEPS,
    ),
    "co_investigate": FindingKind(
        Severity.ACT,
        _("CO to be investigated"),
        _(
            "{quantity} {value} {unit} at {place}, at or above the level of {limit} {unit} to investigate ({source})."
        ),
        _(
            "Look for the cause before any trim is moved: too much air makes CO as too little does. Follow the maker's instructions and local codes."
        ),
    ),
    "co_over_maker": FindingKind(
        Severity.ACT,
        _("CO above the maker's limit"),
        _("CO {value} ppm at {place}, above the maker's limit of {limit} ppm ({source})."),
        _("Look for the cause before any trim is moved. Follow the maker's instructions and local codes."),
    ),
    "co_spike": FindingKind(
        Severity.NOTE,
        _("CO peak that did not last"),
        _("CO reached {value} ppm for a moment at {place} and did not stay."),
        _("A short peak at light-off is common; if it comes at other times, look for the cause."),
    ),
    "ambient_co_investigate": FindingKind(
        Severity.ACT,
        _("CO in the room to be investigated"),
        _("CO in room air {value} ppm, at or above the level of {limit} ppm to investigate ({source})."),
        _("Ventilate, find where it comes from, and follow local procedure."),
    ),
    "left_off": FindingKind(
        Severity.ACT,
        _("Appliance left off"),
        _("The appliance was left off."),
        _("The office arranges what it waits for; nobody fires it meanwhile."),
    ),
    # What cannot be true as it stands: kept whole, judged as far as possible.
    "o2_above_ambient": _implausible(
        _("O2 at or above that of air"), _("O2 {value} % at {place}; air has {limit} %.")
    ),
    "o2_negative": _implausible(_("O2 below zero"), _("O2 {value} % at {place}.")),
    "co2_negative": _implausible(_("CO2 below zero"), _("CO2 {value} % at {place}.")),
    "co2_above_max": _implausible(
        _("CO2 above what the fuel can give"),
        _("CO2 {value} % at {place}; {fuel} gives {limit} % at the most."),
    ),
    "inconsistent_o2_co2": _implausible(
        _("O2 and CO2 contradict each other"),
        _(
            "No air ratio of {fuel} gives the O2 and CO2 read at {place}: another fuel, or a channel is wrong."
        ),
    ),
    "co_out_of_range": _implausible(
        _("CO outside what can be"),
        _("CO {value} ppm at {place}; readings from 0 to {limit} ppm can be judged."),
    ),
    "flue_temp_out_of_range": _implausible(
        _("Flue temperature outside what can be judged"), _("Flue temperature {value} {unit} at {place}.")
    ),
    "air_temp_out_of_range": _implausible(
        _("Intake air temperature outside what can be judged"), _("Intake air {value} {unit} at {place}.")
    ),
    "no_reading": FindingKind(
        Severity.NOTE,
        _("No O2 or CO2 read"),
        _("Neither O2 nor CO2 was read at {place}, so the air ratio is not known."),
        _("Read the point again with the analyser settled."),
    ),
    "times_out_of_order": FindingKind(
        Severity.NOTE,
        _("Times out of order"),
        _("{detail}"),
        _("Check the device's clock and the times entered; the record keeps them as they came."),
        keeps_out_of_drift=False,
    ),
    "clock_apart": FindingKind(
        Severity.NOTE,
        _("Device clock ahead of ours"),
        _("The device's times run {value} {unit} ahead of ours."),
        _("Set the device's clock; the record keeps both times."),
    ),
    "other_fuel": FindingKind(
        Severity.ACT,
        _("Another fuel than the appliance's"),
        _("Burned on the day: {fuel}; on file for this appliance: {expected}."),
        _(
            "Find out which is right before anything is set by it. Follow the maker's instructions and local codes."
        ),
        keeps_out_of_drift=True,
    ),
    # Against the limits of acceptance.
    "outside_acceptance": FindingKind(
        Severity.ACT,
        _("CO2 outside the acceptance band as left"),
        _("CO2 {value} % at {place}, limit {limit} % ({source}); probability of being inside {probability}."),
        _MAKER,
    ),
    "found_outside_acceptance": FindingKind(
        Severity.ADVISE,
        _("CO2 outside the acceptance band as found"),
        _("CO2 {value} % at {place}, limit {limit} % ({source}); probability of being inside {probability}."),
        _("See the advice for this burner. Follow the maker's instructions and local codes."),
    ),
    "inlet_pressure_outside": FindingKind(
        Severity.ACT,
        _("Working inlet pressure outside its limits"),
        _("Inlet pressure {value} {unit} at {place}, limit {limit} {unit} ({source})."),
        _("Look at the supply before any trim is moved. Follow the maker's instructions and local codes."),
    ),
    "flue_temp_high": FindingKind(
        Severity.ACT,
        _("Flue temperature above its limit"),
        _("Flue temperature {value} {unit} at {place}, limit {limit} {unit} ({source})."),
        _("Look at the heat exchanger and the flue. Follow the maker's instructions and local codes."),
    ),
    "fuel_line_off": FindingKind(
        Severity.ADVISE,
        _("O2 and CO2 off the fuel's line"),
        _(
            "O2 and CO2, both measured at {place}, lie {value} % CO2 off the line of {fuel}: another gas, or a channel "
            "is off (probability {probability})."
        ),
        _("Check the analyser in fresh air and against another, then the gas."),
    ),
    "no_spec": FindingKind(
        Severity.NOTE,
        _("No target on file"),
        _("There is no firing spec for this model on {fuel} at {place}: nothing to judge CO2 against."),
        _("The office adds the maker's figures to the model."),
    ),
    "cannot_prove": FindingKind(
        Severity.NOTE,
        _("Analyser too coarse for the band"),
        _("With this analyser no reading at {place} can prove the band; the best reaches {probability}."),
        _("Use an analyser of a better class where it must be proved."),
    ),
    # Order of work.
    "read_after_move": FindingKind(
        Severity.NOTE,
        _("Read as found after a trim had moved"),
        _("The as-found test at {place} was read after a trim had moved. {then}"),
        _("Read both points as found before any trim moves."),
    ),
    "read_after_opening": FindingKind(
        Severity.NOTE,
        _("Read as found after something was opened or cleaned"),
        _(
            "The as-found test at {place} was read after «{item}» was done. It counts as found, and what was "
            "cleaned may already have changed it."
        ),
        _("Read both points as found, case closed, before anything is opened or cleaned."),
    ),
    "as_found_missing": FindingKind(
        Severity.NOTE,
        _("A trim moved before the point was read as found"),
        _("A trim was moved and {place} was never read before it: what it was found at is not known."),
        _("Read both points as found before any trim moves."),
    ),
    "as_left_missing": FindingKind(
        Severity.ADVISE,
        _("No test as left"),
        _("A trim was moved and {place} was not read as left after it."),
        _("Read high, low and high again after the last move."),
    ),
    "moved_after_as_left": FindingKind(
        Severity.ADVISE,
        _("A trim moved after the test as left"),
        _("A trim was moved after the as-left test at {place}; what was left is not known."),
        _("Read high, low and high again after the last move."),
        keeps_out_of_drift=True,
    ),
    "direction_missing": FindingKind(
        Severity.NOTE,
        _("Adjustment without a direction"),
        _("The {trim} was moved and no direction was noted."),
        _("Note which way the trim went, as seen."),
    ),
    "trim_not_on_model": FindingKind(
        Severity.NOTE,
        _("A trim this model does not have"),
        _("«{trim}» is not a trim on file for this model."),
        _("Check the entry; the office corrects the model if it has this trim."),
    ),
    "moved_too_soon": FindingKind(
        Severity.NOTE,
        _("A trim moved again too soon"),
        _("The {trim} was moved {value} s after the move before; the analyser takes {limit} s to settle."),
        _("Wait until the reading has settled after each move, and read it, before the next."),
    ),
    "not_settled": FindingKind(
        Severity.NOTE,
        _("Not settled"),
        _("The reading at {place} counts as not settled. {why}"),
        _("Wait until the analyser has settled (30 to 90 s is common practice), then read again."),
    ),
    "probe_out": FindingKind(
        Severity.NOTE,
        _("Probe out of the flue"),
        _("The probe was in air at the end of the readings at {place}; only what came before counts."),
        _("Reseat the probe, wait until the analyser has settled, and read again."),
    ),
    "forced_rate_ran_out": FindingKind(
        Severity.NOTE,
        _("Forced rate may have run out"),
        _(
            "{place} was read {value} min after the rate was forced; the control holds it for {limit} min, and no "
            "fan speed shows that it still did."
        ),
        _("Force the rate again, let the analyser settle, and read with the fan speed."),
    ),
    "rate_not_proved": FindingKind(
        Severity.ADVISE,
        _("High fire not proved"),
        _("Fan speed {value} {unit} at {place}; high fire is {limit} {unit} or more (95 % of the model's)."),
        _("Find out why the burner does not reach high fire, then read it there."),
        keeps_out_of_drift=True,
    ),
    "fan_not_read": FindingKind(
        Severity.NOTE,
        _("Fan speed at high fire not read"),
        _("No fan speed was read at {place}; {limit} {unit} or more would prove high fire."),
        _("Read the fan speed at the control and note it with the test."),
    ),
    # Putting back.
    "not_put_back": FindingKind(
        Severity.ACT,
        _("Not put back"),
        _("«{what}» was changed from «{was}» to «{set_to}» and not put back. Reason: {reason}"),
        _("Put it back, or have the office arrange who does."),
        stays=True,
    ),
    # Analyser and licence: said, never a reason to refuse.
    "analyser_missing": FindingKind(
        Severity.NOTE,
        _("No analyser named"),
        _("No analyser is named for these readings."),
        _("Name the analyser."),
    ),
    "analyser_unknown": FindingKind(
        Severity.ADVISE,
        _("Analyser not on file"),
        _("«{analyser}» is not on file; the accuracy of its class is assumed."),
        _("The office adds the analyser with its calibration."),
    ),
    "calibration_lapsed": FindingKind(
        Severity.ADVISE,
        _("Calibration lapsed"),
        _("The analyser's calibration was due on {due}."),
        _("Have the analyser calibrated."),
    ),
    "calibration_unknown": FindingKind(
        Severity.NOTE,
        _("Calibration not known"),
        _("No calibration date is on file for the analyser that day."),
        _("The office enters the analyser's calibration."),
    ),
    "licence_unknown": FindingKind(
        Severity.ACT,
        _("No licence on file"),
        _("No licence of the technician is on file. The visit waits for a licensed person's signature."),
        _("A licensed person checks the record and countersigns."),
    ),
    "licence_lapsed": FindingKind(
        Severity.ACT,
        _("Licence lapsed"),
        _(
            "No licence of the technician was in force that day. The visit waits for a licensed person's signature."
        ),
        _("A licensed person checks the record and countersigns."),
    ),
    "licence_scope": FindingKind(
        Severity.ACT,
        _("Licence does not cover this work"),
        _(
            "No licence of the technician covers this work, fuel or input. "
            "The visit waits for a licensed person's signature."
        ),
        _("A licensed person checks the record and countersigns."),
    ),
    **ITEM_FINDINGS,
}
# A later visit does not end these: it does not show that anybody did what they ask for.
STAYING = tuple(code for code, kind in FINDINGS.items() if kind.stays)


class _Blank(dict[str, Any]):
    def __missing__(self, key: str) -> str:
        return "not known"


class Told(Protocol):
    """What a sentence is made of: a finding's row, or the same members of an answer."""

    @property
    def code(self) -> str: ...
    @property
    def value(self) -> float | None: ...
    @property
    def limit(self) -> float | None: ...
    @property
    def unit(self) -> str: ...
    @property
    def probability(self) -> float | None: ...
    @property
    def rests_on(self) -> Mapping[str, Any]: ...


def title_of(code: str) -> str:
    """What a finding is called; its code where an older engine knew it and this one does not."""
    kind = FINDINGS.get(code)
    return str(kind.title) if kind else code.replace("_", " ")


def sentence(finding: Told, units: str = Units.SI) -> str:
    """The finding in one plain sentence, its value and limit in the reader's units."""
    value, limit, unit = finding.value, finding.limit, finding.unit
    return str(FINDINGS[finding.code].sentence).format_map(
        _Blank(
            {
                **{name: value for name, value in finding.rests_on.items() if value not in (None, "")},
                "value": _number(value, unit, units),
                "limit": _number(limit, unit, units),
                "unit": BY_UNIT[unit].unit(units) if unit in BY_UNIT else unit,
                "probability": _share(finding.probability),
            }
        )
    )


def _number(value: float | None, unit: str, units: str) -> str:
    if value is None:
        return "not known"
    if units == Units.US and unit in BY_UNIT:
        return BY_UNIT[unit].text(value, units)
    return f"{value:.4g}"


def _share(probability: float | None) -> str:
    """A probability in words that a person reads at once."""
    if probability is None:
        return "not known"
    if probability < 0.01:
        return "under 1 %"
    return "over 99 %" if probability > 0.99 else f"{probability * 100:.0f} %"
