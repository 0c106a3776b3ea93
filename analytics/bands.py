"""Acceptance bands of burners as the mixture they allow."""

import numpy as np

from analytics.drift.forecast import Bands
from analytics.reading import FleetHistory
from analytics.reading.sources import FUELS
from combustion.balance import phi_from_co2
from combustion.fuels import Fuel
from fleet.models import FiringSpec, Point
from visits.judging.health import band_of

_POINTS = (Point.HIGH.value, Point.LOW.value)


def bands_of(read: FleetHistory) -> Bands:
    """phi at the ends of each burner's acceptance band at high and low fire, NaN where its model gives none.

    Of the gas that burns there now, less what that gas adds, as the readings are. A low fire stated as a
    difference rides on the middle of the high fire's target. One query.
    """
    specs = {
        (spec.model_id, spec.fuel, spec.point): spec
        for spec in FiringSpec.objects.filter(model__in=np.unique(read.model_id).tolist(), point__in=_POINTS)
    }
    ends: dict[tuple[int, str, int], np.ndarray] = {}
    result = np.full((2, len(read.burner_id), 2), np.nan)
    burners = zip(read.model_id.tolist(), read.fuel.tolist(), read.gas_now.tolist(), strict=True)
    for burner, (model, fuel, gas) in enumerate(burners):
        key = (model, FUELS[fuel], gas)
        if key not in ends:
            ends[key] = _ends(specs, model, FUELS[fuel], read.gases.fuels[gas]) / np.exp(read.gases.ln_g[gas])
        result[:, burner] = ends[key]
    return Bands(lowest_phi=result[0], highest_phi=result[1])


def _ends(specs: dict[tuple[int, str, str], FiringSpec], model: int, slug: str, burnt: Fuel) -> np.ndarray:
    """(lowest and highest, high and low fire)."""
    result, high_co2_pct = np.full((2, 2), np.nan), None
    for place, point in enumerate(_POINTS):
        spec = specs.get((model, slug, point))
        band = band_of(spec, high_co2_pct) if spec else None
        if band is None:
            continue
        if point == Point.HIGH:
            high_co2_pct = (band.target_low + band.target_high) / 2
        for end, co2_pct in enumerate((band.accept_low, band.accept_high)):
            if 0.0 < co2_pct < burnt.co2_max_pct:
                result[end, place] = phi_from_co2(co2_pct, burnt)[0]
    return result
