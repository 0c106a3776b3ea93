"""What the fleet is handed of a run's analyser biases, and which of them judgements take off."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db import transaction
from django.db.models import OuterRef, Subquery

from analytics.models import DriftRun, PeriodBias
from combustion.analyser import COVERAGE, EN_50379
from combustion.balance import AIR_O2_PCT
from combustion.fuels import FUELS
from fleet.models import AnalyserChannel, AnalyserPeriod
from visits.judging.asking import judgements_ask
from visits.models import JudgeDuty

TOLD_APART = 2.0
"""Standard uncertainties beyond which a bias is told from none: 95 %."""
HELD_FROM = 0.8
"""A bias that is applied stays so down to this share of what a new one must reach: none comes and goes."""
MOVED_BY = 0.5
"""An applied bias is replaced where the new one differs by this share of the class's standard uncertainty."""
_CO2_PER_O2 = FUELS["natural_gas"].co2_max_pct / AIR_O2_PCT
_REFERENCE_PCT = {"o2_pct": AIR_O2_PCT - 9.0 / _CO2_PER_O2, "co2_pct": 9.0}


@dataclass(frozen=True)
class Applied:
    """A bias that judgements take off: reading minus truth at 9 % CO2 with its standard uncertainty."""

    co2_pct: float
    u_co2_pct: float


def applied_of(found: Applied | None, held: Applied | None, class_u_co2_pct: float) -> Applied | None:
    """The bias to apply now.

    found: of the run, None where it is weak or there is none.   held: applied so far.   class_u_co2_pct: the
    standard uncertainty that the analyser's class allows anyway; below it a bias changes little that the
    class's uncertainty does not cover, and is left alone. The cuts are the product's own, no source.

    >>> applied_of(Applied(0.10, 0.02), None, 0.15), applied_of(Applied(0.20, 0.11), None, 0.15)
    (None, None)
    >>> applied_of(Applied(0.40, 0.03), None, 0.15)
    Applied(co2_pct=0.4, u_co2_pct=0.03)
    """
    if found is None:
        return None
    need = HELD_FROM if held is not None and held.co2_pct * found.co2_pct > 0 else 1.0
    size = abs(found.co2_pct)
    if size < need * class_u_co2_pct or size < need * TOLD_APART * found.u_co2_pct:
        return None
    if held is None or abs(found.co2_pct - held.co2_pct) > MOVED_BY * class_u_co2_pct:
        return found
    surer = not 1 / 1.5 <= found.u_co2_pct / held.u_co2_pct <= 1.5 if held.u_co2_pct else True
    return found if surer else held


@transaction.atomic
def period_biases_hand_over(run: DriftRun) -> int:
    """Write the run's biases into the periods that the fleet owns, and what of them judgements take off.

    Where that changes, the period's visits are asked to be judged again. Returns how many biases.
    """
    own = PeriodBias.objects.filter(run=run, period=OuterRef("pk"))
    known = AnalyserPeriod.objects.filter(biases__run=run)
    AnalyserPeriod.objects.filter(bias_run__isnull=False).exclude(pk__in=known.values("pk")).update(
        bias_co2_pct=None, bias_u_co2_pct=None, bias_readings=0, bias_weak=True, bias_run=None
    )
    written = AnalyserPeriod.objects.filter(pk__in=known.values("pk")).update(
        bias_co2_pct=Subquery(own.values("bias_co2_pct")),
        bias_u_co2_pct=Subquery(own.values("bias_u_co2_pct")),
        bias_readings=Subquery(own.values("readings")),
        bias_weak=Subquery(own.values("weak")),
        bias_run=run.pk,
    )
    _apply(run)
    return written


def _apply(run: DriftRun) -> None:
    class_u = _class_u()
    moved = []
    for period in AnalyserPeriod.objects.order_by("pk"):
        held = _held(period)
        applied = applied_of(_found(period), held, class_u.get(period.analyser_id, _USUAL_U))
        if applied != held:
            period.applied_bias_co2_pct = applied.co2_pct if applied else None
            period.applied_bias_u_co2_pct = applied.u_co2_pct if applied else None
            period.applied_bias_run = run.pk if applied else None
            moved.append(period)
    AnalyserPeriod.objects.bulk_update(
        moved, ["applied_bias_co2_pct", "applied_bias_u_co2_pct", "applied_bias_run"], batch_size=500
    )
    judgements_ask(JudgeDuty.Cause.BIAS, [period.pk for period in moved])


def _found(period: AnalyserPeriod) -> Applied | None:
    if period.bias_weak or period.bias_co2_pct is None or period.bias_u_co2_pct is None:
        return None
    return Applied(period.bias_co2_pct, period.bias_u_co2_pct)


def _held(period: AnalyserPeriod) -> Applied | None:
    if period.applied_bias_co2_pct is None or period.applied_bias_u_co2_pct is None:
        return None
    return Applied(period.applied_bias_co2_pct, period.applied_bias_u_co2_pct)


def _class_u() -> Mapping[int, float]:
    """Standard uncertainty of CO2 at 9 % by analyser: of the measured channel, as stated or of its class."""
    rows = AnalyserChannel.objects.filter(quantity__in=["o2_pct", "co2_pct"], source="measured")
    found: dict[int, float] = {}
    # O2 last: where both are measured, judgements rest on O2
    for row in rows.order_by("quantity"):
        stated = max(row.accuracy_abs or 0.0, (row.accuracy_rel or 0.0) * _REFERENCE_PCT[row.quantity])
        found[row.analyser_id] = _co2_u(row.quantity, stated or None)
    return found


def _co2_u(quantity: str, limit: float | None) -> float:
    whole = limit if limit is not None else float(EN_50379.error_limit(quantity, _REFERENCE_PCT[quantity]))
    return whole / COVERAGE * (_CO2_PER_O2 if quantity == "o2_pct" else 1.0)


_USUAL_U = _co2_u("o2_pct", None)
