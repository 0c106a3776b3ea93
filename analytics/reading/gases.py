"""Which supplied gas burned where and when, for many tests at once."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.estimates import EPOCH
from analytics.reading.sources import FUELS
from combustion import fuels
from combustion.fuels import Fuel
from combustion.trims import ln_common_factor
from fleet.models import SuppliedGas

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
_DAYS = 1_000_000
"""More than any day since 1970."""


@dataclass(frozen=True)
class Gases:
    """What burns: the catalogue's fuels in their order, then every gas that was reported.

    ln_g (F,): what each adds to ln phi at an unchanged trim, against the catalogue's gas that it stands in
    for: ln of air demand over the root of relative density.   Rows of the rest, by site and by area: place,
    fuel and day in one ordered key, and the number of the gas.
    """

    fuels: tuple[Fuel, ...]
    ln_g: FloatArray
    by_site: tuple[IntArray, IntArray]
    by_area: tuple[IntArray, IntArray]

    def burned(self, site: IntArray, area: IntArray, fuel: IntArray, day: FloatArray) -> IntArray:
        """Number of the gas of each test (n,): the site's own, else its area's, else the catalogue's.

        fuel: place in FUELS, below 0 unknown.   day: since 1970, of the site's calendar.
        """
        found = fuel.copy()
        for place, rows in ((area, self.by_area), (site, self.by_site)):
            found = _newest(rows, place, fuel, day, found)
        return found


def gases_read() -> Gases:
    """All that suppliers reported, in one query."""
    burnt = [fuels.fuel(slug) for slug in FUELS]
    ln_g = [0.0] * len(burnt)
    keys: dict[str, list[tuple[int, int]]] = {"site": [], "area": []}
    for row in SuppliedGas.objects.order_by("pk"):
        fuel, gas = FUELS.index(row.fuel), row.as_fuel()
        place = "site" if row.site_id is not None else "area"
        keys[place].append(
            (_key(row.site_id or row.gas_area_id or 0, fuel, (row.from_on - EPOCH).days), len(burnt))
        )
        ln_g.append(ln_g_against(gas, burnt[fuel]))
        burnt.append(gas)
    return Gases(tuple(burnt), np.array(ln_g), _ordered(keys["site"]), _ordered(keys["area"]))


def ln_g_against(gas: Fuel, usual: Fuel) -> float:
    """What a gas adds to ln phi at an unchanged trim, against the usual one [-]."""
    density = gas.properties("15/15").relative_density / usual.properties("15/15").relative_density
    demand = gas.stoich_air_mol_per_mol / usual.stoich_air_mol_per_mol
    return float(ln_common_factor(air_demand_ratio=demand, relative_density_ratio=density))


def _key(place: int, fuel: int, day: int) -> int:
    return (place * len(FUELS) + fuel) * _DAYS + day


def _ordered(rows: list[tuple[int, int]]) -> tuple[IntArray, IntArray]:
    table = np.array(sorted(rows), np.int64).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def _newest(
    rows: tuple[IntArray, IntArray], place: IntArray, fuel: IntArray, day: FloatArray, otherwise: IntArray
) -> IntArray:
    keys, gas = rows
    usable = (place >= 0) & (fuel >= 0) & np.isfinite(day)
    if not len(keys) or not usable.any():
        return otherwise
    group = np.where(usable, place * len(FUELS) + fuel, 0)
    wanted = group * _DAYS + np.where(usable, day, 0).astype(np.int64)
    last = np.searchsorted(keys, wanted, side="right") - 1
    same = usable & (last >= 0) & (keys[np.maximum(last, 0)] // _DAYS == group)
    return np.where(same, gas[np.maximum(last, 0)], otherwise)
