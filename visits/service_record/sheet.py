"""A service record in words, in a reader's units and the site's time: blocks that a page and a PDF both draw.

A sheet is plain JSON: `title`, `lines` under it, `alarms` before all else, `facts`, `blocks`. A block has a
`kind`: heading, alarm, caution, text, facts, table or list. Nothing in it is markup; every string is drawn as
it stands.
"""

from collections.abc import Iterable
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.units import MEASURES
from people.models import Units
from visits.models import Outcome, Severity
from visits.service_record.readings import readings_blocks
from visits.service_record.words import (
    Block,
    caution,
    chance_text,
    clock_text,
    day_text,
    facts,
    heading,
    instant_text,
    joined,
    listed,
    plain_text,
    span_text,
)

Content = dict[str, Any]

_US_COUNTRIES = frozenset({"US"})
_LETTER_COUNTRIES = frozenset({"US", "CA", "MX"})
_KEEP_OFF = gettext_lazy(
    "Nobody may fire it, reset it or open its gas valve until a licensed person has worked on it and noted "
    "its return to service."
)


def units_for(content: Content, person: object = None, asked: str = "") -> str:
    """SI or US customary: what is asked for, else US where the person or the site's country uses it."""
    if asked in Units.values:
        return asked
    theirs = getattr(person, "units", Units.SI)
    return Units.US if Units.US in (theirs, _country_units(content)) else Units.SI


def paper_for(content: Content) -> str:
    """The paper that the site's country prints on."""
    return "us-letter" if content["place"]["country"] in _LETTER_COUNTRIES else "a4"


def sheet_build(content: Content, *, units: str) -> dict[str, Any]:
    """The whole record as blocks, in these units."""
    zone = ZoneInfo(content["place"]["zone"])
    place, attendance = content["place"], content["attendance"]
    blocks: list[Block] = []
    for visit in content["visits"]:
        blocks += _visit(visit, units, zone)
    if content["open"]:
        still_open = _("Still open: {tags}.").format(tags=listed(content["open"]))
        blocks.append(caution(_("Not part of this record"), [still_open]))
    return {
        "title": _("Service record"),
        "lines": [joined(place["customer"], place["site"]), place["plant"]],
        "facts": facts(
            (_("Attended on"), day_text(attendance["local_on"])),
            (_("Address"), joined(*place["address"].splitlines())),
            (_("Appliances"), listed([visit["appliance"]["tag"] for visit in content["visits"]])),
            (_("Arrived"), instant_text(attendance["arrived_at"], zone)),
            (_("Left"), instant_text(attendance["left_at"], zone)),
            (_("Met at the site"), attendance["contact"]),
            (_("Signed at the site"), _signed(attendance, zone)),
            (_("Serviced by"), joined(content["firm"]["name"], content["firm"]["phone"])),
        ),
        "alarms": alarms_of(content),
        "blocks": [*blocks, *_closing()],
    }


def _country_units(content: Content) -> str:
    return Units.US if content["place"]["country"] in _US_COUNTRIES else Units.SI


def alarms_of(content: Content) -> list[Block]:
    """What must be read first: appliances to keep off, and what was not put back."""
    alarms = []
    for visit in content["visits"]:
        grave = [row for row in visit["findings"] if row["severity"] == Severity.MAKE_SAFE]
        if grave or visit["outcome"] == Outcome.LEFT_OFF:
            tag = visit["appliance"]["tag"]
            lines = [f"{row['title']}. {row['sentence']}" for row in grave]
            if visit["outcome"] == Outcome.LEFT_OFF:
                lines.append(_("It was left off at the end of the visit."))
            lines.append(str(_KEEP_OFF))
            title = _("Keep {tag} off").format(tag=tag)
            alarms.append({"kind": "alarm", "title": title, "lines": lines})
    left = [
        f"{visit['appliance']['tag']}: {row['what']}"
        for visit in content["visits"]
        for row in visit["changes"]
        if row["put_back_at"] is None
    ] + [
        f"{visit['appliance']['tag']}: {row['setting']}, {row['unit']}"
        for visit in content["visits"]
        for row in visit["settings"]
        if row["differs"]
    ]
    if left:
        alarms.append(caution(_("Not put back after the test"), left))
    return alarms


def _visit(visit: dict[str, Any], units: str, zone: ZoneInfo) -> Iterable[Block]:
    appliance = visit["appliance"]
    yield {"kind": "heading", "level": 1, "text": joined(appliance["tag"], appliance["model"])}
    yield {"kind": "facts", "rows": _visit_facts(visit, units, zone)}
    yield from readings_blocks(visit, units)
    yield from _findings(visit)
    yield from _work(visit)
    yield from _put_back(visit, zone)
    if visit["safety"]:
        yield heading(_("Safety state"))
        yield {"kind": "list", "entries": [_safety_line(row, zone) for row in visit["safety"]]}
    if visit["notes"]:
        yield heading(_("Notes"))
        yield {"kind": "text", "text": visit["notes"]}
    if visit["corrections"]:
        yield heading(_("Corrections"))
        yield {"kind": "list", "entries": [_correction_line(row, zone) for row in visit["corrections"]]}


def _visit_facts(visit: dict[str, Any], units: str, zone: ZoneInfo) -> list[list[str]]:
    appliance, analyser = visit["appliance"], visit["analyser"]
    size = appliance["input_gross_kw"]
    measure = MEASURES["input_gross_kw"]
    due = analyser["calibration_due_on"]
    return facts(
        (_("Visit"), f"{visit['kind'].capitalize()}, {visit['outcome_text']}"),
        (_("From, to"), span_text(visit["opened_at"], visit["closed_at"], zone)),
        (_("Serial"), appliance["serial"]),
        (_("Input, gross"), measure.with_unit(size, units) if size is not None else ""),
        (_("Fuel burned"), visit["fuel"]),
        (_("Technician"), _person(visit["technician"]) or _("not known")),
        (_("Countersigned"), _countersigned(visit, zone)),
        (
            _("Analyser"),
            joined(
                analyser["tag"],
                analyser["type"],
                _("serial {serial}").format(serial=analyser["serial"]) if analyser["serial"] else "",
                _("calibration due {day}").format(day=day_text(due)) if due else "",
            ),
        ),
        (_("In band as found"), _health(visit["health"]["as_found"])),
        (_("In band as left"), _health(visit["health"]["as_left"])),
        (_("Next annual date"), day_text(visit["next_on"]) if visit["next_on"] else _("none is set yet")),
    )


def _findings(visit: dict[str, Any]) -> Iterable[Block]:
    yield heading(_("Findings"))
    if not visit["findings"]:
        yield {"kind": "text", "text": _("None. That says only what this visit looked at.")}
        return
    words = dict(Severity.choices)
    several = len({test["burner"] for test in visit["tests"]}) > 1
    yield {
        "kind": "list",
        "entries": [
            [
                joined(row["title"], row["burner"] if several else "", separator=" · "),
                " ".join(filter(None, [row["sentence"], row["what_to_do"]])),
                str(words[row["severity"]]),
            ]
            for row in visit["findings"]
        ],
    }


def _work(visit: dict[str, Any]) -> Iterable[Block]:
    yield heading(_("What was done"))
    if visit["adjustments"]:
        yield {
            "kind": "table",
            "caption": _("Trims moved, in order"),
            "head": [_("Trim"), _("Burner"), _("Direction"), _("Amount"), _("CO2 before, vol %"), _("after")],
            "numeric": [False, False, False, True, True, True],
            "rows": [
                [
                    row["trim"].capitalize(),
                    row["burner"],
                    row["direction"] or "–",
                    _amount(row),
                    plain_text(row["before_co2_pct"]),
                    plain_text(row["after_co2_pct"]),
                ]
                for row in visit["adjustments"]
            ],
        }
    else:
        yield {"kind": "text", "text": _("No trim is noted as moved.")}
    if visit["parts"]:
        parts = [f"{row['part']} ({row['burner']})" for row in visit["parts"]]
        yield {"kind": "text", "text": _("Parts fitted: {parts}.").format(parts=listed(parts))}
    if visit["items"]:
        yield {
            "kind": "table",
            "caption": _("Work and checks, as the technician noted"),
            "head": [_("Item"), _("State"), _("Value"), _("Note")],
            "numeric": [False, False, False, False],
            "rows": [
                [
                    row["item"],
                    row["state"],
                    _item_value(row),
                    joined(row["reason"], row["note"]) or "–",
                ]
                for row in visit["items"]
            ],
        }  # fmt: skip


def _put_back(visit: dict[str, Any], zone: ZoneInfo) -> Iterable[Block]:
    if visit["settings"]:
        yield {
            "kind": "table",
            "caption": _("Settings of the plant before and after"),
            "head": [_("Setting"), _("Unit"), _("Before"), _("After"), _("Remark")],
            "numeric": [False] * 5,
            "rows": [
                [
                    row["setting"],
                    row["unit"],
                    row["before"] or "–",
                    row["after"] or _("not read again"),
                    joined(_("Differs") if row["differs"] else "", row["reason"], separator=": ") or "–",
                ]
                for row in visit["settings"]
            ],
        }
    if not visit["changes"]:
        yield {"kind": "text", "text": _("No setting is noted as changed for the test.")}
        return
    yield {
        "kind": "table",
        "caption": _("Settings changed for the test"),
        "head": [_("Setting"), _("Was"), _("Set to"), _("Put back")],
        "numeric": [False] * 4,
        "rows": [
            [
                row["what"],
                row["was"] or "–",
                row["set_to"] or "–",
                clock_text(row["put_back_at"], zone)
                or joined(_("Not put back"), row["reason"], separator=": "),
            ]
            for row in visit["changes"]
        ],
    }


def _closing() -> Iterable[Block]:
    yield heading(_("At the appliance"), level=1)
    yield {
        "kind": "list",
        "entries": [
            [
                _("Smell of gas, or a CO alarm sounds"),
                _("No flames, no switches, everyone out; call the gas emergency number from outside."),
                "",
            ],
            [
                _("Headache, dizziness or sickness near it"),
                _("Get out into fresh air and get medical help: carbon monoxide has no smell."),
                "",
            ],
            [
                _("Never open its casing, cover its flue or its air openings"),
                _("Only licensed people work on it, by the maker's instructions and local codes."),
                "",
            ],
        ],
    }
    yield heading(_("What this record is, and is not"), level=1)
    yield {
        "kind": "text",
        "text": _(
            "It says what was read, found and done on the day, how sure the readings are, and what they were "
            "judged by. It does not declare any appliance safe, and says nothing of parts that were not "
            "looked at nor of any later day. The percentage in band is the probability, given the "
            "measurement uncertainty, that what was checked lay inside its acceptance limits."
        ),
    }


def _countersigned(visit: dict[str, Any], zone: ZoneInfo) -> str:
    if visit["countersigned"]:
        return joined(_person(visit["countersigned"]), instant_text(visit["countersigned"]["at"], zone))
    if visit["uncountersigned"]:
        return _(
            "not yet: no licence in force covered this work, so it waits for a licensed person's signature"
        )
    return ""


def _signed(attendance: dict[str, Any], zone: ZoneInfo) -> str:
    return joined(attendance["signed_by"], instant_text(attendance["signed_at"], zone))


def _health(health: dict[str, Any]) -> str:
    if health["probability"] is None:
        return ""
    scope = _("all that counts was checked") if health["full"] else _("part of what counts was checked")
    weakest = _("weakest: {limit}").format(limit=health["weakest"]) if health["weakest"] else ""
    return joined(chance_text(health["probability"]), scope, weakest)


def _safety_line(row: dict[str, Any], zone: ZoneInfo) -> list[str]:
    told = (
        _("told: {who}").format(who=joined(row["told"], row["answer"]))
        if row["told"] or row["answer"]
        else ""
    )
    return [
        row["state"].capitalize(),
        joined(instant_text(row["at"], zone), row["by"], row["reason"], told),
        "",
    ]


def _correction_line(row: dict[str, Any], zone: ZoneInfo) -> list[str]:
    label = _("Revision {number} of the visit").format(number=row["revision"])
    return [label, joined(row["by"], instant_text(row["at"], zone), row["reason"]), ""]


def _item_value(row: dict[str, Any]) -> str:
    if row["number"] is not None:
        return joined(f"{row['number']:g}", row["unit"], separator=" ")
    return row["choice"] or "–"


def _amount(row: dict[str, Any]) -> str:
    if row["turns"] is not None:
        return _("{amount} turns").format(amount=plain_text(row["turns"]))
    return _("{amount} marks").format(amount=f"{row['marks']:g}") if row["marks"] is not None else "–"


def _person(signature: dict[str, Any] | None) -> str:
    return joined(signature["name"], *signature["licences"]) if signature else ""
