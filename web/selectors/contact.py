"""What a customer's contact reads: their sites with appliances, dates and what was found last."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import OuterRef, Prefetch, Subquery
from django.utils import timezone

from fleet.models import Appliance, Plant, Site
from people.models import User
from visits.judging.catalogue import title_of
from visits.models import Attendance, Finding, Severity, Visit


@dataclass(frozen=True)
class ApplianceLine:
    """One appliance, its last closed visit and what stands open from it."""

    appliance: Appliance
    last: Visit | None
    grave: bool
    findings: Sequence[str]


@dataclass(frozen=True)
class PlantLines:
    """One boiler room: its appliances, and the day on which somebody is booked to come."""

    plant: Plant
    coming_on: date | None
    appliances: Sequence[ApplianceLine]


@dataclass(frozen=True)
class SiteLines:
    """One site."""

    site: Site
    plants: Sequence[PlantLines]


def contact_sites(*, user: User) -> list[SiteLines]:
    """Own sites by name, in six queries however many there are.

    sites · plants · appliances · last visits · open findings · booked attendances
    """
    newest = Visit.objects.closed().filter(appliance=OuterRef("pk")).order_by("-opened_at", "-pk")
    appliances = (
        Appliance.objects.filter(retired_on__isnull=True)
        .select_related("model__maker")
        .annotate(last_id=Subquery(newest.values("pk")[:1]))
        .order_by("tag", "pk")
    )
    plants = Plant.objects.filter(retired_on__isnull=True).prefetch_related(
        Prefetch("appliances", appliances, to_attr="in_order")
    )
    sites = list(
        Site.objects.visible_to(user)
        .filter(retired_on__isnull=True)
        .prefetch_related(Prefetch("plants", plants, to_attr="in_use"))
        .order_by("name", "pk")
    )
    rows = [row for site in sites for plant in site.in_use for row in plant.in_order]
    last = Visit.objects.select_related("attendance").in_bulk([row.last_id for row in rows if row.last_id])
    findings = _findings([row.pk for row in rows])
    coming = _coming([plant.pk for site in sites for plant in site.in_use])
    return [
        SiteLines(
            site,
            [
                PlantLines(
                    plant,
                    coming.get(plant.pk),
                    [_line(row, last, findings[row.pk]) for row in plant.in_order],
                )
                for plant in site.in_use
            ],
        )
        for site in sites
    ]


def _line(row: Appliance, last: dict[int, Visit], findings: list[Finding]) -> ApplianceLine:
    grave = any(finding.severity == Severity.MAKE_SAFE for finding in findings)
    return ApplianceLine(row, last.get(getattr(row, "last_id", None) or 0), grave, _in_words(findings))


def _in_words(findings: list[Finding]) -> list[str]:
    """Each thing that was found once, with the places where it was."""
    places: dict[str, dict[str, None]] = {}
    for finding in findings:
        at = places.setdefault(title_of(finding.code), {})
        if place := finding.rests_on.get("place"):
            at[place] = None
    return [f"{title}: {'; '.join(at)}" if at else title for title, at in places.items()]


def _findings(appliances: list[int]) -> dict[int, list[Finding]]:
    """What concerns the customer: not notes on the firm's own paperwork."""
    concerning = (Severity.MAKE_SAFE, Severity.ACT, Severity.ADVISE)
    found: dict[int, list[Finding]] = defaultdict(list)
    rows = Finding.objects.open().filter(appliance__in=appliances, severity__in=concerning)
    for finding in rows.exclude(code__startswith="licence_").order_by("-pk"):
        found[finding.appliance_id].append(finding)
    return found


def _coming(plants: list[int]) -> dict[int, date]:
    rows = Attendance.objects.standing().filter(
        plant__in=plants, local_on__gte=timezone.localdate(), arrived_at__isnull=True
    )
    return {row.plant_id: row.local_on for row in rows.order_by("-local_on")}
