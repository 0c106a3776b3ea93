"""Everything an appliance's page shows, in a fixed number of queries."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch
from django.http import Http404

from analytics.figures import StoryRow
from fleet.models import Appliance, Burner, FiringSpec
from people.models import User
from visits.models import Finding, FiringTest, Phase, TestResult, Visit

VISITS_SHOWN = 40


@dataclass(frozen=True)
class BurnerStory:
    """One burner and its readings over the years."""

    burner: Burner
    rows: list[StoryRow]


@dataclass(frozen=True)
class AppliancePage:
    """What the template draws."""

    appliance: Appliance
    specs: list[FiringSpec]
    burners: list[BurnerStory]
    visits: list[Visit]
    findings: list[Finding]

    @property
    def standing(self) -> list[Finding]:
        """Make-safe findings that nobody has marked as done."""
        return [row for row in self.findings if row.severity == "make_safe"]


def appliance_page(*, user: User, pk: int) -> AppliancePage:
    """The page of one appliance; not found where the reader may not see it."""
    appliance = (
        Appliance.objects.visible_to(user)
        .with_place()
        .prefetch_related("model__trims", "model__firing_specs", "burners__parts")
        .filter(pk=pk)
        .first()
    )
    if appliance is None:
        raise Http404
    visits = list(
        Visit.objects.filter(appliance=appliance)
        .select_related("technician", "analyser", "attendance")
        .order_by("-opened_at", "-id")[:VISITS_SHOWN]
    )
    stories = story_rows(appliance, visits)
    return AppliancePage(
        appliance=appliance,
        specs=[row for row in appliance.model.firing_specs.all() if row.fuel == appliance.fuel],
        burners=[BurnerStory(burner, stories[burner.pk]) for burner in appliance.burners.all()],
        visits=visits,
        findings=list(
            Finding.objects.open()
            .filter(appliance=appliance)
            .select_related("visit")
            .order_by("-visit_id", "id")
        ),
    )


def with_latest_result() -> "Prefetch[Any]":
    """Results of a test, the newest engine's first, into `judged`."""
    return Prefetch("results", TestResult.objects.order_by("-engine_version"), to_attr="judged")


def story_rows(appliance: Appliance, visits: Iterable[Visit]) -> dict[int, list[StoryRow]]:
    """Per burner: one row per visit and firing point, from standing tests of closed visits."""
    days = {visit.pk: visit for visit in visits if visit.is_closed}
    tests = (
        FiringTest.objects.standing()
        .filter(visit_id__in=days, phase__in=[Phase.AS_FOUND, Phase.AS_LEFT])
        .prefetch_related(with_latest_result())
        .order_by("visit_id", "sequence", "id")
    )
    grouped: dict[tuple[int, int, str, float | None], dict[str, FiringTest]] = defaultdict(dict)
    for test in tests:
        pair = grouped[test.burner_id, test.visit_id, test.point, test.percent]
        if test.phase == Phase.AS_LEFT or test.phase not in pair:
            pair[test.phase] = test
    stories: dict[int, list[StoryRow]] = defaultdict(list)
    for (burner_id, visit_id, _point, _percent), pair in grouped.items():
        stories[burner_id].append(_story_row(days[visit_id], pair))
    return stories


def _story_row(visit: Visit, pair: dict[str, FiringTest]) -> StoryRow:
    found, left = pair.get(Phase.AS_FOUND), pair.get(Phase.AS_LEFT)
    some = next(iter(pair.values()))
    limits = result_of(left) or result_of(found)
    found_co2, u_found = co2_of(found)
    left_co2, u_left = co2_of(left)
    return StoryRow(
        visit_uuid=str(visit.uuid),
        on=visit.local_on,
        point=some.point,
        point_text=point_text(some),
        found_co2_pct=found_co2,
        u_found_co2_pct=u_found,
        left_co2_pct=left_co2,
        u_left_co2_pct=u_left,
        target_co2_pct=band_of(limits, "target"),
        accept_co2_pct=band_of(limits, "accept"),
    )


def point_text(test: FiringTest) -> str:
    """High fire, low fire, or the part rate by its percentage."""
    return f"{test.percent:g} %" if test.percent is not None else test.get_point_display().capitalize()


def co2_of(test: FiringTest | None) -> tuple[float | None, float | None]:
    """CO2 dry vol % and its standard uncertainty: as judged, else as read."""
    result = result_of(test)
    if result is not None and result.co2_pct is not None:
        return result.co2_pct, result.u_co2_pct
    return (test.co2_pct if test else None), None


def result_of(test: FiringTest | None) -> TestResult | None:
    """What the newest engine made of a test, where it has been judged."""
    judged: list[TestResult] = getattr(test, "judged", [])
    return judged[0] if judged else None


def band_of(result: TestResult | None, name: str) -> tuple[float, float] | None:
    """`target` or `accept` as CO2 dry vol %, where both ends are known."""
    if result is None:
        return None
    low, high = getattr(result, f"{name}_low_co2_pct"), getattr(result, f"{name}_high_co2_pct")
    return None if low is None or high is None else (low, high)
