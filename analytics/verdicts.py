"""Which readings as found change sides of a limit once the analyser's bias, or the area's gas, is taken off.

A reading is judged by the value alone here, inside its acceptance band or not: what the technician saw on the
day. The probability of being inside, with all uncertainties, stands on the visit.
"""

from typing import Any

from django.db.models import Exists, F, FloatField, OuterRef, Q, QuerySet, Value
from django.db.models.expressions import Combinable

from visits.models import Phase, TestResult

_READ = "test__co2_pct"
BIAS = "test__visit__analyser_period__bias_co2_pct"


def found_tests() -> QuerySet[TestResult]:
    """The newest results of standing tests as found, of closed visits, whose CO2 and limits are known."""
    newer = TestResult.objects.filter(test=OuterRef("test"), engine_version__gt=OuterRef("engine_version"))
    return TestResult.objects.filter(
        ~Exists(newer),
        test__phase=Phase.AS_FOUND,
        test__withdrawn_reason="",
        test__visit__closed_at__isnull=False,
        test__co2_pct__isnull=False,
        accept_low_co2_pct__isnull=False,
        accept_high_co2_pct__isnull=False,
    )


def changed_by_bias(**of_period: Any) -> QuerySet[TestResult]:
    """Tests as found that are on one side of a limit as read, and on the other less the period's bias.

    of_period: look-ups of the visit's analyser period, as `period=3`.
    """
    wanted = {
        name.replace("period", "test__visit__analyser_period", 1): value for name, value in of_period.items()
    }
    rows = found_tests().filter(**wanted, **{f"{BIAS}__isnull": False})
    return _changed(rows, F(_READ) - F(BIAS))


def explained_by_gas(rows: QuerySet[TestResult], shift_pct: float) -> QuerySet[TestResult]:
    """Of these tests, those outside as read that lie inside with the gas's shift taken off.

    shift_pct: change of the mixture's richness, %. CO2 = c changes by (1 + c/100) c of it, by the short
    relation phi = 9.52 c/(1 + c) of docs/drift.md.
    """
    read = F(_READ)
    share = Value(shift_pct / 100.0, output_field=FloatField())
    corrected = read - read * (Value(1.0) + read / Value(100.0)) * share
    rows = rows.annotate(corrected=corrected)
    return rows.filter(_outside("test__co2_pct") & ~_outside("corrected"))


def _changed(rows: QuerySet[TestResult], corrected: Combinable) -> QuerySet[TestResult]:
    rows = rows.annotate(corrected=corrected)
    as_read, less = _outside(_READ), _outside("corrected")
    return rows.filter((as_read & ~less) | (~as_read & less))


def _outside(name: str) -> Q:
    return Q(**{f"{name}__lt": F("accept_low_co2_pct")}) | Q(**{f"{name}__gt": F("accept_high_co2_pct")})


OUTSIDE_AS_READ = _outside(_READ)
"""The reading itself lies beyond one of its limits."""
