"""From the record to due dates and follow-ups: what is read of a chunk of appliances, and what follows."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import OuterRef, Q, Subquery

from fleet.models import Appliance, Contract
from planning.due import Due, Terms, brought_forward, next_due
from planning.models import DueDate, EarlierVisit, FollowUp
from visits.models import Kind, Outcome, Visit

COMPLETED = Q(outcome=Outcome.COMPLETED, uncountersigned=False)
MOVES_THE_DATE = COMPLETED & Q(kind__in=[Kind.ANNUAL_SERVICE, Kind.COMMISSIONING])

Moment = tuple[datetime, int]


@dataclass(frozen=True)
class Record:
    """What planning needs to know of some appliances.

    moved_by, completed_by: appliance to its last visit that moves the date, and that was completed at all.
    completed: visits that are completed, by id.
    """

    appliances: Sequence[Appliance]
    moved_by: dict[int, int | None]
    completed_by: dict[int, int | None]
    contracts: dict[int, list[Contract]]
    completed: dict[int, Visit]
    unfinished: Sequence[Visit]
    dates: dict[int, DueDate]
    follow_ups: dict[int, FollowUp]
    earlier: dict[int, EarlierVisit]


def record_of(appliance_ids: Sequence[int], today: date) -> Record:
    """Read a chunk, in seven queries whatever its size (six where nothing was ever completed). A visit dated
    later than today (than tomorrow, in zones ahead) is none yet: its year was mistyped or its clock is wrong,
    and it must not keep anybody away.

    appliances with their last visits' ids, due dates on file, follow-ups on file, contracts of the plants,
    the visits named, unfinished visits, accepted earlier visits
    """
    come = Q(local_on__lte=today + timedelta(days=1))
    appliances = list(
        Appliance.objects.filter(pk__in=appliance_ids)
        .select_related("plant__site__customer")
        .annotate(moved_by=_last(MOVES_THE_DATE & come), completed_by=_last(COMPLETED & come))
    )
    follow_ups = {row.visit_id: row for row in FollowUp.objects.filter(appliance__in=appliance_ids)}
    named = {row.moved_by for row in appliances} | {row.completed_by for row in appliances}
    named |= {row.closed_by_visit_id for row in follow_ups.values()}
    completed = Visit.objects.closed().filter(COMPLETED).only("appliance_id", "opened_at", "local_on")
    return Record(
        appliances=appliances,
        moved_by={row.pk: row.moved_by for row in appliances},
        completed_by={row.pk: row.completed_by for row in appliances},
        contracts=_contracts_by_plant({row.plant_id for row in appliances}),
        completed=completed.in_bulk(named - {None}),
        unfinished=list(Visit.objects.closed().exclude(COMPLETED).filter(appliance__in=appliance_ids)),
        dates={row.appliance_id: row for row in DueDate.objects.filter(appliance__in=appliance_ids)},
        follow_ups=follow_ups,
        earlier=_accepted(appliance_ids),
    )


def due_dates_of(record: Record, today: date) -> list[DueDate]:
    """The due dates that differ from those on file."""
    reckoned = [_due_date(record, appliance, today) for appliance in record.appliances]
    return [row for row in reckoned if _differs(row, record.dates.get(row.appliance_id))]


def follow_ups_of(record: Record) -> list[FollowUp]:
    """The follow-ups that are new or whose state changes. A person's word on one stands."""
    by_id = {appliance.pk: appliance for appliance in record.appliances}
    unfinished = {visit.pk for visit in record.unfinished}
    reckoned = [_standing(visit, by_id[visit.appliance_id], record) for visit in record.unfinished]
    reckoned += [_without_cause(row) for key, row in record.follow_ups.items() if key not in unfinished]
    return [row for row in reckoned if _changes(row, record.follow_ups.get(row.visit_id))]


def _last(counting: Q) -> Subquery:
    rows = Visit.objects.closed().filter(counting, appliance=OuterRef("pk"))
    return Subquery(rows.order_by("-opened_at", "-id").values("pk")[:1])


def _contracts_by_plant(plant_ids: Iterable[int]) -> dict[int, list[Contract]]:
    links = Contract.plants.through.objects.filter(plant__in=list(plant_ids)).select_related("contract")
    by_plant: dict[int, list[Contract]] = defaultdict(list)
    for link in links:
        by_plant[link.plant_id].append(link.contract)
    return by_plant


def _accepted(appliance_ids: Sequence[int]) -> dict[int, EarlierVisit]:
    """The last accepted earlier visit of each appliance."""
    rows = EarlierVisit.objects.filter(appliance__in=appliance_ids, decision=EarlierVisit.Decision.ACCEPTED)
    return {row.appliance_id: row for row in rows.select_related("basis_visit").order_by("id")}


def _earlier(record: Record, appliance: Appliance, due: Due) -> EarlierVisit | None:
    """The accepted earlier visit that nobody has met yet and that comes before the date."""
    row = record.earlier.get(appliance.pk)
    if row is None or row.come_by is None or row.come_by >= due.due_on:
        return None
    last = record.completed.get(record.completed_by[appliance.pk] or 0)
    met = last is not None and _moment(last) > _moment(row.basis_visit)
    return None if met else row


def _due_date(record: Record, appliance: Appliance, today: date) -> DueDate:
    if not _in_use(appliance):
        return DueDate(appliance=appliance, reason=DueDate.Reason.RETIRED)
    contracts = record.contracts.get(appliance.plant_id, [])
    contract = _holding(contracts, today)
    if contract is None:
        reason = DueDate.Reason.CONTRACT_ENDED if contracts else DueDate.Reason.NO_CONTRACT
        return DueDate(appliance=appliance, reason=reason)
    last = record.completed.get(record.moved_by[appliance.pk] or 0)
    due = next_due(
        _terms(contract, since=min(row.starts_on for row in contracts)),
        last.local_on if last else None,
        appliance.installed_on,
    )
    earlier = _earlier(record, appliance, due)
    if earlier is not None and earlier.come_by is not None:
        due = brought_forward(due, earlier.come_by, earlier.decided_at.date(), contract.window_after_days)
    return DueDate(
        appliance=appliance,
        due_on=due.due_on,
        window_from=due.window_from,
        window_to=due.window_to,
        rule=contract.rule,
        contract=contract,
        basis_visit=last,
        earlier=earlier,
    )


def _holding(contracts: Sequence[Contract], today: date) -> Contract | None:
    """The contract in force, the latest begun of several; else the one that begins next."""
    alive = [row for row in contracts if row.ends_on is None or row.ends_on >= today]
    begun = [row for row in alive if row.starts_on <= today]
    if begun:
        return max(begun, key=lambda row: (row.starts_on, row.pk))
    return min(alive, key=lambda row: (row.starts_on, row.pk), default=None)


def _terms(contract: Contract, since: date) -> Terms:
    """A renewed contract does not forgive what was owed under the one before it: `since` is the first's."""
    return Terms(
        rule=contract.rule,
        interval_months=contract.interval_months,
        since=since,
        anniversary_on=contract.anniversary_on,
        before_days=contract.window_before_days,
        after_days=contract.window_after_days,
        avoid_months=frozenset(contract.avoid_months),
    )


def _in_use(appliance: Appliance) -> bool:
    plant = appliance.plant
    above = (appliance, plant, plant.site, plant.site.customer)
    return all(row.retired_on is None for row in above)


def _differs(row: DueDate, held: DueDate | None) -> bool:
    columns = (
        "due_on",
        "window_from",
        "window_to",
        "rule",
        "contract_id",
        "basis_visit_id",
        "reason",
        "earlier_id",
    )
    return held is None or any(getattr(row, column) != getattr(held, column) for column in columns)


def _changes(row: FollowUp, held: FollowUp | None) -> bool:
    if held is None:
        return True
    columns = ("cause", "state", "closed_by_visit_id")
    return held.done_by_id is None and any(getattr(row, name) != getattr(held, name) for name in columns)


def _standing(visit: Visit, appliance: Appliance, record: Record) -> FollowUp:
    """What becomes of a visit that left something to do."""
    cause = visit.outcome if visit.outcome != Outcome.COMPLETED else FollowUp.Cause.UNCOUNTERSIGNED
    row = FollowUp(visit=visit, appliance=appliance, cause=cause)
    row.closed_by_visit = _closing(visit, appliance, record)
    if row.closed_by_visit is not None:
        row.state = FollowUp.State.DONE
    elif not _in_use(appliance):
        row.state = FollowUp.State.WITHDRAWN
    return row


def _closing(visit: Visit, appliance: Appliance, record: Record) -> Visit | None:
    """The completed visit that came after: the one on file while it still counts, else the last."""
    held = record.follow_ups.get(visit.pk)
    named = [held.closed_by_visit_id if held else None, record.completed_by[appliance.pk]]
    rows = (record.completed.get(name or 0) for name in named)
    return next((row for row in rows if row is not None and _moment(row) > _moment(visit)), None)


def _without_cause(held: FollowUp) -> FollowUp:
    """The visit is whole now: countersigned, or corrected to completed."""
    countersigned = held.cause == FollowUp.Cause.UNCOUNTERSIGNED
    state = FollowUp.State.DONE if countersigned else FollowUp.State.WITHDRAWN
    return FollowUp(visit_id=held.visit_id, appliance_id=held.appliance_id, cause=held.cause, state=state)


def _moment(visit: Visit) -> Moment:
    return visit.opened_at, visit.pk
