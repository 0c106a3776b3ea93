"""From burners as found to what each costs in a year, by the flue-loss balance against its target."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from analytics.costing.found import AIR_SOURCES, CONTROLS, KINDS, POINTS, Found, found_read
from analytics.costing.prices import Price, price_book, prices_of
from analytics.costing.taken_off import UNKNOWN_GAS_U, TakenOff
from analytics.costing.use import Assumptions, assumptions, yearly_use
from analytics.estimates import FloatArray
from analytics.models import NoCost
from analytics.reading.mixture import CATALOGUE
from analytics.reading.sources import FUELS
from combustion.arrays import F64
from combustion.balance import phi_from_co2
from combustion.gum import Quantity
from combustion.trims import KELVIN_AT_0_C, ln_intake_factor
from combustion.tuning import RICHEST_PHI, Firing, LoadSplit, Loss, YearlyUse, lost_share, yearly_loss
from fleet.models import Appliance, ApplianceModel, FiringSpec
from visits.judging.health import band_of

# What the reckoning assumes, each without a source; docs/formulas.md, «out of tune».
USUAL_AIR_C = 20.0
USUAL_OUTDOOR_C = 10.0
OUTDOOR_U_K, ROOM_U_K = 4.0, 2.0
PLAUSIBLE_AIR_C = 60.0
CONDENSING_APPROACH_K = 15.0
OTHER_RETURN_C = 70.0
FLUE_U_K, FLUE_U_UNSURE_K = 5.0, 10.0
UNREAD_POINT_U = 0.04

_OUTDOOR = [AIR_SOURCES.index(Appliance.AirSource.DUCTED), AIR_SOURCES.index(Appliance.AirSource.CONCENTRIC)]
_PNEUMATIC = CONTROLS.index(ApplianceModel.RatioControl.PNEUMATIC_PREMIX)


@dataclass(frozen=True)
class Costs:
    """What was reckoned of the burners found (n,), NaN where there is a reason.

    air, target (n, 2): excess air [%].   lost, lost_u: share of the year's gas [-].   use: kWh, where from.
    """

    found: Found
    air: FloatArray
    target: FloatArray
    lost: FloatArray
    lost_u: FloatArray
    loss: Loss
    use_kwh: FloatArray
    use_source: np.ndarray
    indicative: np.ndarray
    points: np.ndarray
    reason: np.ndarray
    prices: Sequence[Price | None]


@dataclass(frozen=True)
class Shares:
    """Burners in the states found (n,), and the share of a year's gas that each loses against its target.

    firing: as found, with what is taken off.   target (n, 2): ln phi, NaN without one.   reason: why there is
    no share; else empty.   share: by input, NaN where there is a reason.   use: of the burner, where from.
    """

    firing: Firing
    target: FloatArray
    points: np.ndarray
    reason: np.ndarray
    use: YearlyUse
    use_source: np.ndarray
    share: Quantity


def shares_of(found: Found, taken: TakenOff) -> Shares:
    """What every state loses, in a fixed number of queries."""
    target = _targets(found)
    firing, points, reason = _firing(found, taken, target)
    assumed = assumptions()
    use, source = yearly_use(found, assumed)
    reason = np.where((reason == "") & ~(use.kwh >= 0.0), NoCost.NO_USE.value, reason)
    # a use that is not known is no number below 0 either
    use = YearlyUse(np.where(reason == "", use.kwh, np.nan), use.u_common, use.u_own)
    return Shares(firing, target, points, reason, use, source, _shares(found, firing, assumed, reason))


def costs_of(
    appliance_ids: Sequence[int] | None,
    *,
    as_of: date,
    priced_on: date | None = None,
    taken: TakenOff | None = None,
    run: Any = None,
) -> Costs:
    """Of some appliances or the fleet. taken: what drift takes off; without it, what `run` stored.

    priced_on: the day whose prices hold; that of the reckoning where left out.
    """
    found = found_read(appliance_ids, as_of=as_of)
    if taken is None:
        taken = TakenOff.of_run(run, found.period, found.place["area"])
    told = shares_of(found, taken)
    loss = yearly_loss(told.share, told.use)
    reason = np.where((told.reason == "") & ~np.isfinite(loss.kwh), NoCost.NOT_COMPUTABLE.value, told.reason)
    fuels = [FUELS[fuel] for fuel in found.fuel.tolist()]
    return Costs(
        found=found,
        air=100.0 * np.expm1(-told.firing.ln_phi),
        target=100.0 * np.expm1(-told.target),
        lost=np.asarray(told.share.value),
        lost_u=told.share.u,
        loss=loss,
        use_kwh=told.use.kwh,
        use_source=told.use_source,
        indicative=found.indicative,
        points=told.points,
        reason=reason,
        prices=prices_of(
            price_book(priced_on or as_of),
            found.place["plant"].tolist(),
            found.place["customer"].tolist(),
            fuels,
        ),
    )


def _targets(found: Found) -> FloatArray:
    """ln phi in the middle of each burner's target band at high and low fire (n, 2). One query."""
    model, fuel = found.place["model"], found.fuel
    specs = {
        (spec.model_id, spec.fuel, spec.point): spec
        for spec in FiringSpec.objects.filter(model__in=np.unique(model).tolist(), point__in=POINTS)
    }
    keys, at = np.unique(np.stack([model, fuel], axis=1), axis=0, return_inverse=True)
    table = np.full((len(keys), 2), np.nan)
    for row, (model_id, place) in enumerate(keys.tolist()):
        high_co2_pct = None
        for column, point in enumerate(POINTS):
            spec = specs.get((model_id, FUELS[place], point))
            band = band_of(spec, high_co2_pct) if spec else None
            if band is None:
                continue
            middle = (band.target_low + band.target_high) / 2
            high_co2_pct = middle if column == 0 else high_co2_pct
            if 0.0 < middle < CATALOGUE[place].co2_max_pct:
                table[row, column] = np.log(phi_from_co2(middle, CATALOGUE[place])[0])
    return table[at.ravel()]


def _firing(found: Found, taken: TakenOff, target: FloatArray) -> tuple[Firing, np.ndarray, np.ndarray]:
    """As found with bias, gas and season off; which points were read; and why there is nothing to reckon."""
    ln_phi, u_analyser = _less_bias(found, taken)
    shift, u_gas = taken.shifts_of(found.place["area"], found.month)
    ln_phi = ln_phi - np.nan_to_num(shift)[:, None] - _season(found)[:, None]
    u_gas = np.where(np.isnan(u_gas), UNKNOWN_GAS_U, u_gas)
    usable = np.isfinite(ln_phi) & np.isfinite(target)
    points = np.where(usable.all(axis=1), "both", np.where(usable[:, 0], "high", "low"))
    rich = (np.isfinite(ln_phi) & (ln_phi > np.log(RICHEST_PHI))).any(axis=1)
    flue = _other_fills(found.read["flue_temp_c"])
    reason = np.select(
        [rich, ~usable.any(axis=1), np.isnan(flue).all(axis=1)],
        [NoCost.RICH.value, NoCost.NO_TARGET.value, NoCost.NO_FLUE_TEMP.value],
        "",
    )
    # a point that was not read, or has no target, is as far off as the other one
    off = np.where(usable, ln_phi - target, np.nan)
    u_own = np.where(usable, found.u_own, UNREAD_POINT_U)
    target = np.where(np.isnan(target), _other_fills(target), target)
    co_ppm = np.nan_to_num(_other_fills(found.read["co_ppm"]))
    air_c = np.nan_to_num(_other_fills(found.read["air_temp_c"]), nan=USUAL_AIR_C)
    return_known = np.isfinite(found.read["return_temp_c"]).any(axis=1)
    firing = Firing(
        ln_phi=target + _other_fills(off),
        target_ln_phi=target,
        flue_temp_c=flue,
        air_temp_c=air_c,
        co_ppm=np.clip(co_ppm, 0.0, 1e4),
        approach_k=_approach(found, flue),
        u_own=u_own,
        u_analyser=np.nan_to_num(_other_fills(u_analyser)),
        u_gas=np.repeat(u_gas[:, None], 2, axis=1),
        u_air=np.repeat(_u_air(found)[:, None], 2, axis=1),
        u_flue_k=np.where(return_known, FLUE_U_K, FLUE_U_UNSURE_K),
    )
    return firing, points, reason


def _less_bias(found: Found, taken: TakenOff) -> tuple[FloatArray, FloatArray]:
    """ln phi less the analyser's bias, and what is left unknown of the analyser (n, 2).

    By the short relation of docs/drift.md, as drift itself: 1 % CO2 at a dry share c is 0.01/(c (1 + c)).
    """
    bias, bias_u = taken.biases_of(found.period)
    phi = np.exp(found.ln_phi)
    share = np.clip(phi / (9.52 - np.minimum(phi, 9.0)), 0.05, 0.16)
    per_pct = 0.01 / (share * (1.0 + share))
    known = np.isfinite(bias)[:, None]
    ln_phi = found.ln_phi - np.nan_to_num(bias)[:, None] * per_pct
    return ln_phi, np.where(known, np.nan_to_num(bias_u)[:, None] * per_pct, found.u_shared)


def _season(found: Found) -> FloatArray:
    """What the day's intake air adds to ln phi over that of a year (n,).

    Only of pneumatic burners on outdoor air, whose year is the middle between the site's design temperatures:
    a boiler room is much the same all year.
    """
    air = _other_fills(found.read["air_temp_c"]).mean(axis=1)
    year = (found.place["winter_c"] + found.place["summer_c"]) / 2.0
    usable = _outdoor(found) & (found.place["control"] == _PNEUMATIC)
    usable &= np.abs(np.nan_to_num(air, nan=np.inf)) <= PLAUSIBLE_AIR_C
    day = ln_intake_factor(np.where(usable, air, USUAL_OUTDOOR_C))
    return np.where(usable, day - ln_intake_factor(np.nan_to_num(year, nan=USUAL_OUTDOOR_C)), 0.0)


def _u_air(found: Found) -> FloatArray:
    """Standard uncertainty in ln phi of the year's intake air against what it was taken to be (n,)."""
    return 0.5 * np.where(_outdoor(found), OUTDOOR_U_K, ROOM_U_K) / (KELVIN_AT_0_C + USUAL_OUTDOOR_C)


def _outdoor(found: Found) -> np.ndarray:
    return np.isin(found.place["air_source"], _OUTDOOR)


def _approach(found: Found, flue: FloatArray) -> FloatArray:
    """Flue less return temperature [K] (n, 2), assumed where no return was read."""
    back = _other_fills(found.read["return_temp_c"])
    condensing = (found.place["condensing"] == 1)[:, None]
    assumed = np.where(
        condensing, CONDENSING_APPROACH_K, np.maximum(flue - OTHER_RETURN_C, CONDENSING_APPROACH_K)
    )
    return np.clip(np.where(np.isnan(back), assumed, flue - back), 1.0, 300.0)


def _shares(found: Found, firing: Firing, assumed: Assumptions, reason: np.ndarray) -> Quantity:
    """Share lost with what each input makes of it (n,): fuel by fuel, kind by kind of appliance."""
    value, *rest = np.full((1 + len(_INPUTS), len(reason)), np.nan)
    parts = dict(zip(_INPUTS, rest, strict=True))
    for fuel in np.unique(found.fuel).tolist():
        for kind, word in enumerate(KINDS):
            rows = np.flatnonzero((reason == "") & (found.fuel == fuel) & (found.place["kind"] == kind))
            if not len(rows) or word not in assumed:
                continue
            own = assumed[word]
            split = LoadSplit(*(np.array(getattr(own, n)) for n in _SPLIT))
            share = lost_share(_rows(firing, rows), CATALOGUE[fuel], split)
            value[rows] = share.value
            for name, part in share.parts.items():
                parts[name][rows] = part
    return Quantity(value, parts)


_INPUTS = ("own_high", "own_low", "analyser", "gas", "air", "flue", "response", "split", "split_own")
"""What `lost_share` tells the parts of."""
_SPLIT = ("low_fire_share", "low_fire_u_common", "low_fire_u_own")


def _rows(firing: Firing, rows: np.ndarray) -> Firing:
    return Firing(**{name: column[rows] for name, column in vars(firing).items()})


def _other_fills(values: F64) -> F64:
    """What was not read at one point is taken from the other."""
    return np.where(np.isnan(values), values[:, ::-1], values)
