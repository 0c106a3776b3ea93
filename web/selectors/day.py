"""What a technician must know of each appliance of the day, beside what planning says of the day."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fleet.models import Appliance, ModelTrim
from planning.selectors import Day
from visits.models import Attendance, Finding, FiringTest, Phase, Severity, Visit
from web.selectors.appliance import point_text

# As people write that there is nothing to bring.
_NO_TOOL = frozenset({"none", "no tool", "-", "–", "n/a"})
GRAVE = (Severity.MAKE_SAFE, Severity.ACT)


@dataclass(frozen=True)
class LastTime:
    """CO2 of the last visit at one firing point, dry vol %."""

    point_text: str
    found_co2_pct: float | None
    left_co2_pct: float | None


@dataclass(frozen=True)
class ApplianceOfDay:
    """One appliance: today's visit if there is one, the last one's readings, what still stands."""

    appliance: Appliance
    visit: Visit | None
    last: Visit | None
    last_time: Sequence[LastTime]
    standing: Sequence[Finding]


@dataclass(frozen=True)
class AttendanceOfDay:
    """One stop of the day."""

    attendance: Attendance
    appliances: Sequence[ApplianceOfDay]


def with_standing_findings(day: Day) -> list[AttendanceOfDay]:
    """The day's stops with the open findings of each appliance that ask for something. One query."""
    appliances = [row.pk for stop in day.attendances for row in _in_use(stop)]
    standing: dict[int, list[Finding]] = defaultdict(list)
    for finding in Finding.objects.open().filter(appliance__in=appliances, severity__in=GRAVE):
        standing[finding.appliance_id].append(finding)
    return [_stop(stop, standing) for stop in day.attendances]


def tools_of(day: Day) -> list[str]:
    """What the trims met on the day are turned with; a sealed one is turned by nobody in the field."""
    trims = [
        trim for model in day.models for trim in model.trims.all() if trim.mover != ModelTrim.Mover.SEALED
    ]
    tools = {trim.tool.strip() for trim in trims}
    return sorted(tool for tool in tools if tool and tool.casefold() not in _NO_TOOL)


def _in_use(stop: Any) -> list[Any]:
    """The plant's appliances as planning fetched them, each with its last visit."""
    return list(stop.plant.in_use)


def _stop(stop: Any, standing: dict[int, list[Finding]]) -> AttendanceOfDay:
    sent = {visit.appliance_id: visit for visit in stop.sent}
    return AttendanceOfDay(
        attendance=stop,
        appliances=[
            ApplianceOfDay(
                appliance=row,
                visit=sent.get(row.pk),
                last=row.last,
                last_time=_last_time(row.last),
                standing=standing[row.pk],
            )
            for row in _in_use(stop)
        ],
    )


def _last_time(visit: Visit | None) -> list[LastTime]:
    points: dict[str, dict[str, FiringTest]] = defaultdict(dict)
    for test in visit.firingtests.all() if visit is not None else ():
        points[point_text(test)].setdefault(test.phase, test)
        if test.phase == Phase.AS_LEFT:
            points[point_text(test)][test.phase] = test
    return [
        LastTime(text, _co2(pair.get(Phase.AS_FOUND)), _co2(pair.get(Phase.AS_LEFT)))
        for text, pair in points.items()
    ]


def _co2(test: FiringTest | None) -> float | None:
    """As judged, else as read: results come with the newest engine's last."""
    if test is None:
        return None
    judged = [row.co2_pct for row in test.results.all() if row.co2_pct is not None]
    return judged[-1] if judged else test.co2_pct
