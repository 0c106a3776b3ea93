"""How much gas each burner burns in a year, from whoever said so, and how sure that is."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from django.db.models import Count, Sum
from django.db.models.functions import Coalesce

from analytics.costing.found import KINDS, Found
from analytics.estimates import FloatArray
from analytics.models import UseSource
from analytics.reading.columns import Columns
from combustion.tuning import YearlyUse
from fleet.models import Appliance, LoadAssumption

PLANT_SHARE_U = 0.3
"""Relative standard uncertainty of one appliance's part of a plant's gas, by input. Assumed, no source."""

Assumptions = Mapping[str, LoadAssumption]
"""By kind of appliance."""


def assumptions() -> Assumptions:
    """What is assumed of each kind of appliance. One query."""
    return {row.kind: row for row in LoadAssumption.objects.all()}


def yearly_use(found: Found, assumed: Assumptions) -> tuple[YearlyUse, np.ndarray]:
    """The year's gas of each burner: its appliance's figure, else its part of the plant's, else assumed."""
    place = found.place
    full, u_common, u_own = (
        np.array([getattr(assumed[kind], name) if kind in assumed else np.nan for kind in KINDS])[
            place["kind"]
        ]
        for name in ("full_load_hours", "hours_u_common_pct", "hours_u_own_pct")
    )
    part, several = _part_of_plant(place)
    choices = [np.isfinite(place["own_kwh"]), np.isfinite(place["plant_kwh"]) & np.isfinite(part)]
    plant_u = np.hypot(place["plant_u_pct"] / 100.0, np.where(several, PLANT_SHARE_U, 0.0))
    burners = _burners_beside(place)
    use = YearlyUse(
        kwh=np.select(choices, [place["own_kwh"], place["plant_kwh"] * part], place["input_kw"] * full)
        / burners,
        u_common=np.select(choices, [0.0, 0.0], u_common / 100.0),
        u_own=np.select(choices, [place["own_u_pct"] / 100.0, plant_u], u_own / 100.0),
    )
    named = [UseSource.APPLIANCE.value, UseSource.PLANT.value]
    return use, np.select(choices, named, UseSource.ASSUMED.value)


def _burners_beside(place: Columns) -> np.ndarray:
    """How many burners of its appliance there are, itself counted; a burner may have several rows."""
    first = np.unique(place["id"], return_index=True)[1]
    appliances, count = np.unique(place["appliance"][first], return_counts=True)
    return np.asarray(count[np.searchsorted(appliances, place["appliance"])])


def _part_of_plant(place: dict[str, Any]) -> tuple[FloatArray, np.ndarray]:
    """Each appliance's part of its plant's input, and whether it is not alone; NaN without an input."""
    stated = np.isfinite(place["plant_kwh"])
    if not stated.any():
        return np.full(len(stated), np.nan), stated
    plants = np.unique(place["plant"][stated]).tolist()
    rows = Appliance.objects.in_use().filter(plant__in=plants).order_by().values("plant")
    sums = {
        row["plant"]: (row["kw"] or np.nan, row["count"])
        for row in rows.annotate(
            kw=Sum(Coalesce("input_gross_kw", "model__input_gross_kw")), count=Count("pk")
        )
    }
    total = np.array([sums.get(plant, (np.nan, 0)) for plant in place["plant"].tolist()]).reshape(-1, 2)
    return place["input_kw"] / total[:, 0], total[:, 1] > 1
