"""What a service record says: plain JSON in SI units, taken from the rows in a fixed number of queries.

Words of findings and of their remedies are kept as they read on the day, so that a record stays what it was
when the catalogue is worded anew.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, tzinfo
from typing import Any

from django.conf import settings
from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from fleet.items import ItemBook, item_book
from fleet.models import PartFitted, SafetyEvent, ServiceItem
from people.models import Licence, User
from visits.judging.catalogue import FINDINGS, sentence
from visits.left_off import REASON as LEFT_OFF_AUTOMATICALLY
from visits.measured import MEASURED_FIELDS
from visits.models import (
    Adjustment,
    Attendance,
    Finding,
    FiringTest,
    Phase,
    PlantSetting,
    Severity,
    TemporaryChange,
    TestResult,
    Visit,
    VisitItem,
    VisitRecord,
)
from visits.models.results import QUANTITIES
from visits.saving.answer import indicative_of

FORMAT = 2
_GRAVITY = {severity: place for place, severity in enumerate(Severity.values)}
# Said where the signatures stand, not among what was found on the appliance.
_PAPERWORK = "licence_"


def attendance_for_record(attendance: Attendance) -> Attendance:
    """The attendance with all that its record says.

    Ten queries however many visits it has: attendance and place · visits · tests · results · findings ·
    adjustments · changes · settings · answers · corrections. Four more in `content_build`: licences · parts ·
    safety · items.
    """
    rows: QuerySet[Attendance] = Attendance.objects.select_related("plant__site__customer")
    return rows.prefetch_related(Prefetch("visits", _visits(), "all_visits")).get(pk=attendance.pk)


def content_build(attendance: Attendance) -> dict[str, Any]:
    """The record's content from an attendance as `attendance_for_record` fetched it.

    Only closed visits are part of it; those still open are named in `open`.
    """
    visits: Sequence[Visit] = attendance.all_visits  # type: ignore[attr-defined]
    closed = [visit for visit in visits if visit.is_closed]
    plant, site = attendance.plant, attendance.plant.site
    licences = _licences(attendance, closed)
    parts, events, book = _parts(closed), _safety_events(closed), item_book()
    return {
        "format": FORMAT,
        "firm": {"name": settings.FIRM_NAME, "phone": settings.FIRM_PHONE},
        "place": {
            "customer": site.customer.name,
            "country": site.customer.country,
            "site": site.name,
            "address": site.address,
            "plant": plant.name,
            "zone": site.time_zone,
        },
        "attendance": {
            "uuid": str(attendance.uuid),
            "local_on": attendance.local_on.isoformat(),
            "arrived_at": _instant(attendance.arrived_at),
            "left_at": _instant(attendance.left_at),
            "contact": attendance.contact_name,
            "signed_by": attendance.signed_name,
            "signed_at": _instant(attendance.signed_at),
        },
        "visits": [
            _visit(visit, licences, parts[visit.uuid])
            | {
                "items": _items(visit, book, site.customer.country),
                "safety": _of_day(events[visit.appliance_id], visit, site.zone),
            }
            for visit in closed
        ],
        "open": [visit.appliance.tag for visit in visits if not visit.is_closed],
    }


def _visits() -> "QuerySet[Visit]":
    closed = Visit.objects.closed()
    later = closed.filter(appliance=OuterRef("appliance"), opened_at__gt=OuterRef("opened_at"))
    results = TestResult.objects.order_by("-engine_version")
    tests = (
        FiringTest.objects.standing()
        .exclude(phase=Phase.WORKING)
        .select_related("burner")
        .order_by("burner__position", "sequence", "pk")
        .prefetch_related(Prefetch("results", results, "judged"))
    )
    corrections = VisitRecord.objects.filter(corrects__isnull=False).select_related("by")
    rows: QuerySet[Visit] = Visit.objects.order_by("opened_at", "pk")
    return (
        rows.select_related(
            "appliance__model__maker", "technician", "countersigned_by", "analyser", "analyser_period"
        )
        .annotate(seen_later=Exists(later))
        .prefetch_related(
            Prefetch("firingtests", tests, "read"),
            Prefetch("findings", Finding.objects.filter(holds=True).select_related("burner"), "found"),
            Prefetch("adjustments", _standing(Adjustment).select_related("burner"), "moved"),
            Prefetch("temporarychanges", _standing(TemporaryChange), "changed"),
            Prefetch("plantsettings", _standing(PlantSetting), "settings"),
            Prefetch("visititems", _standing(VisitItem), "noted"),
            Prefetch(
                "records", corrections.defer("document", "answers").order_by("revision"), "corrected"
            ),
        )
    )  # fmt: skip


def _standing(model: Any) -> Any:
    return model.objects.filter(withdrawn_reason="")


def _visit(visit: Any, licences: dict[int, list[Licence]], parts: list[PartFitted]) -> dict[str, Any]:
    appliance = visit.appliance
    return {
        "uuid": str(visit.uuid),
        "revision": visit.revision,
        "kind": visit.get_kind_display(),
        "outcome": visit.outcome,
        "outcome_text": visit.get_outcome_display(),
        "opened_at": _instant(visit.opened_at),
        "closed_at": _instant(visit.closed_at),
        "appliance": {
            "uuid": str(appliance.uuid),
            "tag": appliance.tag,
            "serial": appliance.serial,
            "model": str(appliance.model),
            "input_gross_kw": appliance.input_gross_kw,
        },
        "fuel": visit.get_fuel_display(),
        "technician": _signature(visit.technician, visit.local_on, licences),
        "uncountersigned": visit.uncountersigned,
        "countersigned": {
            **(_signature(visit.countersigned_by, visit.local_on, licences) or {}),
            "at": _instant(visit.countersigned_at),
        }
        if visit.countersigned_at
        else None,
        "analyser": _analyser(visit),
        "health": {
            phase: {
                "probability": getattr(visit, f"health_{phase}"),
                "full": getattr(visit, f"health_{phase}_full"),
                "weakest": getattr(visit, f"health_{phase}_weakest"),
            }
            for phase in ("as_found", "as_left")
        },
        "tests": [_test(test) for test in visit.read],
        "findings": [_finding(row) for row in _by_gravity(visit.found)],
        "adjustments": [_adjustment(row) for row in visit.moved],
        "parts": [{"part": row.part, "burner": str(row.burner)} for row in parts],
        "changes": [_change(row) for row in visit.changed],
        "settings": [_setting(row) for row in visit.settings],
        "notes": visit.notes,
        "corrections": [
            {"revision": row.revision, "by": str(row.by), "at": _instant(row.at), "reason": row.reason}
            for row in visit.corrected
        ],
        "next_on": _next_on(visit),
    }


def _next_on(visit: Any) -> str | None:
    """The date that this visit led to: only the appliance's last visit can have one, and it lies after it."""
    due = visit.appliance.next_due_on
    return due.isoformat() if due and due > visit.local_on and not visit.seen_later else None


def _test(test: Any) -> dict[str, Any]:
    result = next(iter(test.judged), None)
    return {
        "burner": test.burner.position,
        "burner_name": str(test.burner),
        "point": test.point,
        "percent": test.percent,
        "phase": test.phase,
        "sequence": test.sequence,
        "at": _instant(test.observed_at),
        "settled": test.get_settled_display(),
        "indicative": indicative_of(test),
        "inferred": test.inferred,
        "measured": {name: value for name in MEASURED_FIELDS if (value := getattr(test, name)) is not None},
        "results": _results(result),
    }


def _results(result: TestResult | None) -> dict[str, Any] | None:
    """What the newest engine made of a test: each quantity with its standard uncertainty (k = 1)."""
    if result is None:
        return None
    quantities = {name: getattr(result, name) for name in QUANTITIES}
    return {
        "quantities": {
            name: {"value": value, "u": getattr(result, f"u_{name}")}
            for name, value in quantities.items()
            if value is not None
        },
        "verdict": result.get_verdict_display(),
        "p_inside": result.p_inside,
        "target_co2_pct": _band(result, "target"),
        "accept_co2_pct": _band(result, "accept"),
    }


def _band(result: TestResult, name: str) -> list[float] | None:
    low, high = getattr(result, f"{name}_low_co2_pct"), getattr(result, f"{name}_high_co2_pct")
    return None if low is None or high is None else [low, high]


def _by_gravity(findings: Iterable[Finding]) -> list[Finding]:
    kept = [row for row in findings if not row.code.startswith(_PAPERWORK)]
    return sorted(kept, key=lambda row: (_GRAVITY[row.severity], row.pk))


def _finding(row: Finding) -> dict[str, Any]:
    kind = FINDINGS.get(row.code)
    return {
        "code": row.code,
        "severity": row.severity,
        "burner": str(row.burner) if row.burner else "",
        "title": str(kind.title) if kind else row.code.replace("_", " "),
        "sentence": sentence(row) if kind else "",
        "what_to_do": str(kind.what_to_do) if kind else "",
    }


def _adjustment(row: Adjustment) -> dict[str, Any]:
    return {
        "burner": str(row.burner),
        "trim": row.trim,
        "direction": row.direction,
        "turns": row.turns,
        "marks": row.marks,
        "before_co2_pct": row.before_co2_pct,
        "after_co2_pct": row.after_co2_pct,
    }


def _items(visit: Any, book: ItemBook, country: str) -> list[dict[str, Any]]:
    """Answers in the order in which the items are asked, in the words of the list in force that day."""
    asked = book.asked(visit.appliance, country, visit.kind, visit.local_on, visit.fuel)
    order = {code: place for place, code in enumerate(asked)}
    noted = sorted(visit.noted, key=lambda row: (order.get(row.code, len(order)), row.pk))
    return [_item(row, asked.get(row.code)) for row in noted]


def _item(row: VisitItem, asked: ServiceItem | None) -> dict[str, Any]:
    words = {choice["code"]: choice["text"] for choice in asked.choices} if asked else {}
    return {
        "code": row.code,
        "item": asked.text if asked else row.code.replace("_", " ").capitalize(),
        "state": row.get_state_display(),
        "number": row.number,
        "unit": row.unit or (asked.unit if asked else ""),
        "choice": words.get(row.choice, row.choice),
        "reason": row.reason,
        "note": row.note,
    }


def _change(row: TemporaryChange) -> dict[str, Any]:
    return {
        "what": row.what,
        "was": row.was,
        "set_to": row.set_to,
        "put_back_at": _instant(row.put_back_at),
        "reason": row.reason,
    }


def _setting(row: PlantSetting) -> dict[str, Any]:
    return {
        "unit": row.unit,
        "setting": row.setting,
        "before": row.before,
        "after": row.after,
        "differs": row.differs,
        "reason": row.reason,
    }


def _safety(row: SafetyEvent) -> dict[str, Any]:
    return {
        "state": row.get_state_display(),
        "at": _instant(row.at),
        "by": str(row.by) if row.by else "",
        "reason": row.reason,
        "told": row.told,
        "answer": row.get_answer_display() if row.answer else "",
    }


def _analyser(visit: Visit) -> dict[str, Any]:
    analyser, period = visit.analyser, visit.analyser_period
    due = period.calibration_due_on if period else None
    return {
        "tag": analyser.tag if analyser else visit.analyser_text,
        "serial": analyser.serial if analyser else "",
        "type": analyser.type_name if analyser else "",
        "calibration_due_on": due.isoformat() if due else None,
    }


def _signature(person: User | None, on: date, licences: dict[int, list[Licence]]) -> dict[str, Any] | None:
    """A person and their licences in force on the day."""
    if person is None:
        return None
    held = [
        str(row)
        for row in licences[person.pk]
        if row.starts_on <= on and (row.ends_on is None or on <= row.ends_on)
    ]
    return {"name": str(person), "licences": held}


def _licences(attendance: Attendance, visits: Iterable[Visit]) -> dict[int, list[Licence]]:
    people = {attendance.technician_id} | {
        pk for visit in visits for pk in (visit.technician_id, visit.countersigned_by_id)
    }
    held: dict[int, list[Licence]] = defaultdict(list)
    rows = Licence.objects.filter(technician__user__in=people - {None}).select_related("technician")
    for row in rows.order_by("scheme", "number"):
        held[row.technician.user_id].append(row)
    return held


def _parts(visits: Iterable[Visit]) -> dict[Any, list[PartFitted]]:
    fitted: dict[Any, list[PartFitted]] = defaultdict(list)
    rows = PartFitted.objects.filter(visit_uuid__in=[visit.uuid for visit in visits])
    for row in rows.select_related("burner").order_by("fitted_at", "pk"):
        fitted[row.visit_uuid].append(row)
    return fitted


def _safety_events(visits: Iterable[Visit]) -> dict[int, list[SafetyEvent]]:
    """What people set and said of these appliances; what an outcome sets by itself is said by the outcome."""
    told: dict[int, list[SafetyEvent]] = defaultdict(list)
    rows = SafetyEvent.objects.filter(appliance__in=[visit.appliance_id for visit in visits])
    for row in rows.exclude(reason=LEFT_OFF_AUTOMATICALLY).select_related("by").order_by("at", "pk"):
        told[row.appliance_id].append(row)
    return told


def _of_day(events: Iterable[SafetyEvent], visit: Visit, zone: tzinfo) -> list[dict[str, Any]]:
    return [_safety(row) for row in events if row.at.astimezone(zone).date() == visit.local_on]


def _instant(at: datetime | None) -> str | None:
    return at.astimezone(UTC).isoformat() if at else None
