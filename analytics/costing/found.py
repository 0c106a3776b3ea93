"""Burners as they were last found: the readings that a cost rests on, and what is known of each burner."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db.models import Q
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


def found_read(appliance_ids: Sequence[int] | None, *, as_of: date) -> Found:
    """Everything of some appliances, or of the whole fleet, in five queries."""
    few = appliance_ids is not None
    burners = _burners_read(appliance_ids)
    tests = _tests_read(appliance_ids, since=as_of - RECENT)
    row = rows_of(burners["id"], tests["burner"])
    tests = _last_visits({name: column[row >= 0] for name, column in tests.items()})
    row = rows_of(burners["id"], tests["burner"])
    analysers = sources.analysers_read(np.unique(tests["analyser"]).tolist() if few else None)
    gases = gases_read()
    fuel = tests["fuel"].astype(np.int64)
    burned = gases.burned(burners["site"][row], burners["area"][row], fuel, tests["local_day"])
    phi, var = mixture_of(tests, analysers, rows_of(analysers["id"], tests["analyser"]), burned, gases.fuels)
    inferred = np.nan_to_num(tests["inferred_ln_phi"])
    with np.errstate(invalid="ignore", divide="ignore"):
        ln_phi = np.log(phi) - inferred - gases.ln_g[burned]
    class_own = np.sqrt(np.maximum(var - FLAME_U_LN_PHI**2, 0.0))
    known, at = np.unique(row, return_inverse=True)

    def pairs(values: FloatArray) -> FloatArray:
        grid = np.full((len(known), 2), np.nan)
        grid[at, tests["point"]] = values
        return grid

    def of_visit(name: str) -> np.ndarray:
        values = np.zeros(len(known), tests[name].dtype)
        values[at] = tests[name]
        return values

    steady = np.ones(len(known), np.bool_)
    np.logical_and.at(steady, at, tests["steady"] == 1)
    return Found(
        place={name: column[known] for name, column in burners.items()},
        period=of_visit("period"),
        month=of_visit("month").astype(np.int64),
        read_on=of_visit("local_day").astype(np.int64),
        fuel=of_visit("fuel").astype(np.int64),
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


def _tests_read(appliance_ids: Sequence[int] | None, *, since: date) -> Columns:
    """Standing tests as found to reckon from, read before a trim moved or taken back for it."""
    read_before = Q(inferred_ln_phi__isnull=False) | Q(moved_before=False) | Q(moved_before__isnull=True)
    mixture = Q(co2_pct__isnull=False) | Q(o2_pct__isnull=False)
    rows = FiringTest.objects.for_drift().filter(
        read_before, mixture, phase=Phase.AS_FOUND, point__in=POINTS, visit__local_on__gte=since
    )
    if appliance_ids is not None:
        rows = rows.filter(visit__appliance__in=appliance_ids)
    month = (ExtractYear("visit__local_on") - sources.FIRST_YEAR) * 12 + ExtractMonth("visit__local_on") - 1
    measured = (FiringTest.Source.DERIVED.value, FiringTest.Source.MEASURED.value)
    return columns_read(
        rows,
        {
            "burner": ("i8", "burner_id"),
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
