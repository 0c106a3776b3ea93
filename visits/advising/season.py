"""What CO2 to expect at the site's design winter and summer air, beside the advice and never its aim."""

from typing import Any

import numpy as np

from combustion.season import co2_after, ln_air_factor
from visits.judging.case import Case
from visits.models import FiringTest, TestResult

AIR_LIMITS_C = (-40.0, 80.0)


def season_note(
    case: Case, test: FiringTest, result: TestResult, co2_pct: float | None
) -> list[dict[str, Any]]:
    """Expected CO2 in winter and summer for a burner that reads co2_pct at today's intake air.

    Dry air, gas temperature as today. Empty where the air comes from the room, its temperature was not read,
    or the site has no design temperatures. Source: docs/formulas.md, «Season».
    """
    site, air_c = case.appliance.plant.site, test.air_temp_c
    days = {"winter": site.design_winter_air_c, "summer": site.design_summer_air_c}
    known = {name: temp for name, temp in days.items() if temp is not None and _usable(temp)}
    outdoors = case.appliance.air_source in ("ducted", "concentric")
    fuel = case.fuel_of(test)
    if not (outdoors and known and co2_pct and air_c is not None and _usable(air_c)):
        return []
    if not 0.0 < co2_pct < fuel.co2_max_pct:
        return []
    factors = ln_air_factor(np.array([air_c, *known.values()]))
    expected = co2_after(co2_pct, fuel, factors[1:] - factors[0])
    low, high = result.accept_low_co2_pct, result.accept_high_co2_pct
    return [
        {
            "season": name,
            "air_temp_c": temp,
            "point": test.point,
            "expected_co2_pct": round(float(co2), 3),
            "inside_acceptance": None if low is None or high is None else bool(low <= co2 <= high),
        }
        for (name, temp), co2 in zip(known.items(), expected, strict=True)
        if np.isfinite(co2)
    ]


def _usable(temp_c: float) -> bool:
    return AIR_LIMITS_C[0] <= temp_c <= AIR_LIMITS_C[1]
