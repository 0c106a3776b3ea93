"""Burners as they were last found: the readings that a cost rests on, and what is known of each burner."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db.models import Q, QuerySet
from django.db.models.functions import Coalesce, ExtractMonth, ExtractYear

from analytics.estimates import EPOCH, FloatArray, IntArray
from analytics.reading import sources
from analytics.reading.columns import Columns, EpochDays, Place, columns_read, rows_of
from analytics.reading.gases import gases_read
from analytics.reading.mixture import FLAME_U_LN_PHI, mixture_of
from combustion.analyser import OWN_SHARE
from fleet.models import Appliance, ApplianceModel, Burner, Point
from visits.models import FiringTest, Phase

RECENT = timedelta(days=3 * 365)
"""A burner last read longer ago than this is reckoned no cost: nobody knows how it burns."""
POINTS = (Point.HIGH.value, Point.LOW.value)
KINDS = tuple(ApplianceModel.Kind.values)
CONTROLS = tuple(ApplianceModel.RatioControl.values)
AIR_SOURCES = tuple(Appliance.AirSource.values)
PHASES = (Phase.AS_FOUND.value, Phase.AS_LEFT.value)
_LEFT = PHASES.index(Phase.AS_LEFT)
_MIXTURE = Q(co2_pct__isnull=False) | Q(o2_pct__isnull=False)
_READ = ("flue_temp_c", "return_temp_c", "air_temp_c", "co_ppm")


@dataclass(frozen=True)
class Found:
    """Burners (n,) at their last visit with a reading as found; (n, 2) is high fire, low fire, NaN not read.

    place: columns of the burner, see `_burners_read`.   ln_phi: as read, what a supplied gas adds taken off.
    u_own, u_shared: of ln_phi, by the reading alone and by its analyser's class.   read: the other readings.
    steady (n,): shown to be thermally steady at every point that was read.
    """

    place: Columns
    period: IntArray
    month: IntArray
    read_on: IntArray
    fuel: IntArray
    ln_phi: FloatArray
    u_own: FloatArray
    u_shared: FloatArray
    read: dict[str, FloatArray]
    steady: np.ndarray

    @property
    def indicative(self) -> np.ndarray:
        """Not shown to be thermally steady, or no return temperature was read (n,)."""
        return ~self.steady | np.isnan(self.read["return_temp_c"]).all(axis=1)


@dataclass(frozen=True)
class States:
    """Every state that burners were found or left in, one a row; in order of burner, visit and phase.

    visit, day, left (n,): the visit, its instant as days of the epoch, and whether it is the state as left.
    """

    found: Found
    visit: IntArray
    day: FloatArray
    left: np.ndarray


def found_read(appliance_ids: Sequence[int] | None, *, as_of: date) -> Found:
    """Everything of some appliances, or of the whole fleet, in five queries."""
    burners = _burners_read(appliance_ids)
    rows = _tests_as_found().filter(visit__local_on__gte=as_of - RECENT)
    tests = _of_burners(_tests_read(rows, appliance_ids), burners)
    return _found_of(burners, _last_visits(tests), few=appliance_ids is not None)


def states_read(appliance_ids: Sequence[int]) -> States:
    """All that is on file of some appliances: as found by the first test of a point, as left by the last."""
    burners = _burners_read(appliance_ids)
    left = FiringTest.objects.for_drift().filter(_MIXTURE, phase=Phase.AS_LEFT, point__in=POINTS)
    tests = _of_burners(_tests_read(_tests_as_found() | left, appliance_ids), burners)
    # the wanted test of a point comes first: of those as left the one with the highest number
    sequence = np.where(tests["phase"] == _LEFT, -tests["sequence"], tests["sequence"])
    order = np.lexsort((sequence, tests["point"], tests["phase"], tests["visit"], tests["burner"]))
    tests = {name: column[order] for name, column in tests.items()}
    new_state = _begins(tests["burner"], tests["visit"], tests["phase"])
    use = new_state | _begins(tests["point"])
    tests = {name: column[use] for name, column in tests.items()}
    first = new_state[use]
    return States(
        found=_found_of(burners, tests, few=True, group=np.cumsum(first) - 1),
        visit=tests["visit"][first].astype(np.int64),
        day=tests["day"][first],
        left=tests["phase"][first] == _LEFT,
    )


def _of_burners(tests: Columns, burners: Columns) -> Columns:
    known = rows_of(burners["id"], tests["burner"]) >= 0
    return {name: column[known] for name, column in tests.items()}


def _begins(*columns: np.ndarray) -> np.ndarray:
    """Where any of the columns is another than in the row before."""
    new = np.ones(len(columns[0]), np.bool_)
    new[1:] = np.any([np.diff(column) != 0 for column in columns], axis=0)
    return new


def _found_of(burners: Columns, tests: Columns, *, few: bool, group: IntArray | None = None) -> Found:
    """Tests as rows of `Found`; group: the row of each, in order of burner, its burner's where left out."""
    row = rows_of(burners["id"], tests["burner"])
    at = np.unique(row, return_inverse=True)[1] if group is None else group
    analysers = sources.analysers_read(np.unique(tests["analyser"]).tolist() if few else None)
    gases = gases_read()
    fuel = tests["fuel"].astype(np.int64)
    burned = gases.burned(burners["site"][row], burners["area"][row], fuel, tests["local_day"])
    phi, var = mixture_of(tests, analysers, rows_of(analysers["id"], tests["analyser"]), burned, gases.fuels)
    inferred = np.nan_to_num(tests["inferred_ln_phi"])
    with np.errstate(invalid="ignore", divide="ignore"):
        ln_phi = np.log(phi) - inferred - gases.ln_g[burned]
    class_own = np.sqrt(np.maximum(var - FLAME_U_LN_PHI**2, 0.0))
    count = int(at.max()) + 1 if len(at) else 0

    def pairs(values: FloatArray) -> FloatArray:
        grid = np.full((count, 2), np.nan)
        grid[at, tests["point"]] = values
        return grid

    def of_row(values: np.ndarray) -> np.ndarray:
        own = np.zeros(count, values.dtype)
        own[at] = values
        return own

    steady = np.ones(count, np.bool_)
    np.logical_and.at(steady, at, tests["steady"] == 1)
    burner = of_row(row)
    return Found(
        place={name: column[burner] for name, column in burners.items()},
        period=of_row(tests["period"]),
        month=of_row(tests["month"]).astype(np.int64),
        read_on=of_row(tests["local_day"]).astype(np.int64),
        fuel=of_row(fuel),
        ln_phi=pairs(ln_phi),
        u_own=pairs(np.sqrt(var + np.nan_to_num(tests["inferred_u_ln_phi"]) ** 2)),
        u_shared=pairs(class_own * np.sqrt(1.0 - OWN_SHARE**2) / OWN_SHARE),
        read={name: pairs(tests[name].astype(np.float64)) for name in _READ},
        steady=steady,
    )


def _burners_read(appliance_ids: Sequence[int] | None) -> Columns:
    """Burners of appliances in use, in order of their key."""
    rows = Burner.objects.filter(appliance__in=Appliance.objects.in_use())
    if appliance_ids is not None:
        rows = rows.filter(appliance__in=appliance_ids)
    plant, model = "appliance__plant__", "appliance__model__"
    read = columns_read(
        rows,
        {
            "id": ("i8", "id"),
            "appliance": ("i8", "appliance_id"),
            "model": ("i8", "appliance__model_id"),
            "kind": ("i2", Place(f"{model}kind", KINDS)),
            "condensing": ("i2", Place(f"{model}condensing", (False, True))),
            "control": ("i2", Place(f"{model}ratio_control", CONTROLS)),
            "air_source": ("i2", Place("appliance__air_source", AIR_SOURCES)),
            "input_kw": ("f8", Coalesce("appliance__input_gross_kw", f"{model}input_gross_kw")),
            "plant": ("i8", "appliance__plant_id"),
            "site": ("i8", f"{plant}site_id"),
            "winter_c": ("f8", f"{plant}site__design_winter_air_c"),
            "summer_c": ("f8", f"{plant}site__design_summer_air_c"),
            "area": ("i8", f"{plant}site__gas_area_id"),
            "customer": ("i8", f"{plant}site__customer_id"),
            "own_kwh": ("f8", "appliance__annual_gas_kwh"),
            "own_u_pct": ("f8", "appliance__annual_gas_u_pct"),
            "plant_kwh": ("f8", f"{plant}annual_gas_kwh"),
            "plant_u_pct": ("f8", f"{plant}annual_gas_u_pct"),
        },
        few=appliance_ids is not None,
    )
    order = np.argsort(read["id"])
    return {name: column[order] for name, column in read.items()}


def _tests_as_found() -> QuerySet[FiringTest]:
    """Standing tests as found to reckon from, read before a trim moved or taken back for it."""
    read_before = Q(inferred_ln_phi__isnull=False) | Q(moved_before=False) | Q(moved_before__isnull=True)
    return FiringTest.objects.for_drift().filter(
        read_before, _MIXTURE, phase=Phase.AS_FOUND, point__in=POINTS
    )


def _tests_read(rows: QuerySet[FiringTest], appliance_ids: Sequence[int] | None) -> Columns:
    if appliance_ids is not None:
        rows = rows.filter(visit__appliance__in=appliance_ids)
    month = (ExtractYear("visit__local_on") - sources.FIRST_YEAR) * 12 + ExtractMonth("visit__local_on") - 1
    measured = (FiringTest.Source.DERIVED.value, FiringTest.Source.MEASURED.value)
    return columns_read(
        rows,
        {
            "burner": ("i8", "burner_id"),
            "visit": ("i8", "visit_id"),
            "phase": ("i2", Place("phase", PHASES)),
            "analyser": ("i8", "visit__analyser_id"),
            "period": ("i8", "visit__analyser_period_id"),
            "day": ("f8", EpochDays("visit__opened_at")),
            "local_day": ("f8", EpochDays("visit__local_on")),
            "month": ("i4", month),
            "point": ("i2", Place("point", POINTS)),
            "sequence": ("i4", "sequence"),
            "fuel": ("i2", Place("fuel", sources.FUELS)),
            "co2_measured": ("i2", Place("co2_source", measured)),
            "steady": ("i2", Place("thermally_steady", (False, True))),
            **{name: ("f8", name) for name in ("inferred_ln_phi", "inferred_u_ln_phi", "co2_pct", "o2_pct")},
            **{name: ("f8", name) for name in _READ},
        },
        few=appliance_ids is not None,
    )


def _last_visits(tests: Columns) -> Columns:
    """The first test at each point of each burner's last visit."""
    order = np.lexsort((tests["sequence"], tests["point"], -tests["day"], tests["burner"]))
    tests = {name: column[order] for name, column in tests.items()}
    burner = tests["burner"]
    start = np.flatnonzero(np.diff(burner, prepend=-1))
    last = np.repeat(tests["day"][start], np.diff(np.append(start, len(burner))))
    first = np.ones(len(burner), np.bool_)
    first[1:] = (np.diff(burner) != 0) | (np.diff(tests["point"]) != 0)
    use = first & (tests["day"] == last)
    return {name: column[use] for name, column in tests.items()}


def day_of(days: int) -> date:
    """A day counted from the epoch."""
    return EPOCH + timedelta(days=days)
