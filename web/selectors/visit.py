"""Everything a visit's page shows, in a fixed number of queries."""

from collections import defaultdict
from dataclasses import dataclass
from uuid import UUID

from django.http import Http404

from fleet.models import Burner
from people.models import User
from visits.judging.telling import again_sentence
from visits.measured import MEASURED_FIELDS
from visits.models import (
    Adjustment,
    Finding,
    FiringTest,
    Phase,
    Photograph,
    PlantSetting,
    Severity,
    TemporaryChange,
    TestResult,
    Visit,
    VisitItem,
    VisitRecord,
)
from web.band import BandBar, band_bar
from web.selectors.appliance import band_of, co2_of, point_text, result_of, with_latest_result

_GRAVITY = {Severity.MAKE_SAFE: 0, Severity.ACT: 1, Severity.ADVISE: 2, Severity.NOTE: 3}


@dataclass(frozen=True)
class PointPair:
    """One firing point of one burner: as found beside as left, with its band bar."""

    burner: Burner
    text: str
    found: FiringTest | None
    left: FiringTest | None
    bar: BandBar | None

    @property
    def limits(self) -> TestResult | None:
        """The result whose bands the bar shows."""
        return result_of(self.left) or result_of(self.found)


@dataclass(frozen=True)
class VisitPage:
    """What the template draws."""

    visit: Visit
    several_burners: bool
    points: list[PointPair]
    tests: list[FiringTest]
    measured: list[str]
    findings: list[Finding]
    withdrawn_findings: list[Finding]
    adjustments: list[Adjustment]
    changes: list[TemporaryChange]
    settings: list[PlantSetting]
    items: list[VisitItem]
    photographs: list[Photograph]
    records: list[VisitRecord]
    judged_again: list[str]

    @property
    def make_safe(self) -> list[Finding]:
        """The findings that come before everything else."""
        return [row for row in self.findings if row.severity == Severity.MAKE_SAFE]

    @property
    def corrections(self) -> list[VisitRecord]:
        """Revisions that correct an earlier one."""
        return [row for row in self.records if row.corrects_id is not None]

    @property
    def not_put_back(self) -> list[TemporaryChange]:
        """Temporary changes that nobody has put back."""
        return [row for row in self.changes if not row.withdrawn_reason and row.put_back_at is None]


def visit_page(*, user: User, uuid: UUID) -> VisitPage:
    """The page of one visit; not found where the reader may not see it."""
    visit = (
        Visit.objects.visible_to(user)
        .with_place()
        .select_related("attendance", "countersigned_by", "analyser_period")
        .filter(uuid=uuid)
        .first()
    )
    if visit is None:
        raise Http404
    tests = list(
        visit.firingtests.select_related("burner")
        .prefetch_related(with_latest_result())
        .order_by("burner__position", "sequence", "id")
    )
    findings = sorted(
        visit.findings.select_related("burner"), key=lambda row: (_GRAVITY[row.severity], row.pk)
    )
    return VisitPage(
        visit=visit,
        several_burners=len({test.burner_id for test in tests}) > 1,
        points=_pairs([test for test in tests if not test.withdrawn_reason]),
        tests=tests,
        measured=[name for name in MEASURED_FIELDS if any(getattr(test, name) is not None for test in tests)],
        findings=[row for row in findings if row.holds],
        withdrawn_findings=[row for row in findings if not row.holds],
        adjustments=list(visit.adjustments.select_related("burner")),
        changes=list(visit.temporarychanges.all()),
        settings=list(visit.plantsettings.all()),
        items=list(visit.visititems.all()),
        photographs=list(visit.photographs.stored().select_related("by")),
        records=list(visit.records.select_related("by").defer("document", "answers").order_by("revision")),
        judged_again=[again_sentence(row) for row in visit.judged_again.order_by("-pk")],
    )


def _pairs(tests: list[FiringTest]) -> list[PointPair]:
    grouped: dict[tuple[int, str, float | None], dict[str, FiringTest]] = defaultdict(dict)
    for test in tests:
        pair = grouped[test.burner.position, test.point, test.percent]
        if test.phase == Phase.AS_LEFT or test.phase not in pair:
            pair[test.phase] = test
    order = {"high": 0, "percent": 1, "low": 2}
    keys = sorted(grouped, key=lambda key: (key[0], order[key[1]], key[2] or 0.0))
    return [_pair(grouped[key]) for key in keys if grouped[key].keys() & {Phase.AS_FOUND, Phase.AS_LEFT}]


def _pair(pair: dict[str, FiringTest]) -> PointPair:
    found, left = pair.get(Phase.AS_FOUND), pair.get(Phase.AS_LEFT)
    some = next(test for test in (found, left) if test is not None)
    limits = result_of(left) or result_of(found)
    return PointPair(
        burner=some.burner,
        text=point_text(some),
        found=found,
        left=left,
        bar=band_bar(
            target_co2_pct=band_of(limits, "target"),
            accept_co2_pct=band_of(limits, "accept"),
            found=_reading(found),
            left=_reading(left),
        ),
    )


def _reading(test: FiringTest | None) -> tuple[float, float | None] | None:
    value, spread = co2_of(test)
    return None if value is None else (value, spread)
