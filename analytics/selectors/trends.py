"""The other trends: of one appliance on asking, and the fleet's list from the run."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from django.db.models import QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from analytics.estimates import EPOCH
from analytics.models import BurnerTrend
from analytics.quantities import (
    BY_CODE,
    QUANTITIES,
    Limit,
    Passing,
    Quantity,
    Scale,
    limits_of,
    passing_of,
    series_read,
)
from analytics.trending import day_of, trend_row
from people.models import Units, User


@dataclass(frozen=True)
class TrendStory:
    """One quantity of one burner in the reader's scale: its readings, what is said, the line, the limits.

    readings: day, value, whether it counts (not from before a part was fitted).   line: two ends (day, value,
    low, high) of the trend with the slope's interval about the middle; empty without one.
    """

    quantity: Quantity
    scale: Scale
    readings: Sequence[tuple[date, float, bool]]
    line: Sequence[tuple[date, float, float, float]]
    limits: Sequence[Limit]
    sentence: str
    surely: bool


def appliance_trends(
    appliance_id: int, *, safety: Mapping[str, float] | None = None, units: str = Units.SI
) -> dict[int, list[TrendStory]]:
    """By burner, the quantities that were ever read there. Three queries, nothing stored."""
    series = series_read([appliance_id])
    limits = limits_of(series, lambda customer: safety or {})
    found: dict[int, list[TrendStory]] = {int(burner): [] for burner in series.burner}
    for quantity in QUANTITIES:
        trends, scale = series.trends(quantity.code), quantity.scale(units)
        for place, burner in enumerate(series.burner.tolist()):
            times, values = series.times[place], series.values[quantity.code][place]
            read = np.isfinite(values)
            if not read.any():
                continue
            own = limits(place)[quantity.code]
            last = float(times[read].max())
            on = passing_of(trends, place, last, own)
            row = trend_row(trends, place, quantity.code)
            counts = read & (times >= series.begins[place])
            found[burner].append(
                TrendStory(
                    quantity=quantity,
                    scale=scale,
                    readings=[
                        (day_of(t) or EPOCH, float(v) * scale.factor, bool(c))
                        for t, v, c in zip(times[read], values[read], counts[read], strict=True)
                    ],
                    line=_line(row, times[counts], last, scale.factor),
                    limits=[replace(limit, value=limit.value * scale.factor) for limit in own],
                    sentence=trend_sentence(row, on, units=units),
                    surely=bool(trends.surely(quantity.least_per_year)[place]) or row.step is not None,
                )
            )
    return found


def trends_ranked(*, user: User, quantity: str = "") -> QuerySet[BurnerTrend]:
    """The run's material trends, the strongest first."""
    rows = BurnerTrend.objects.visible_to(user).current()
    if quantity in BY_CODE:
        rows = rows.filter(quantity=quantity)
    ranked: QuerySet[BurnerTrend] = rows.select_related(
        "appliance__plant__site__customer", "appliance__model__maker", "burner"
    ).order_by("-strength", "pk")
    return ranked


def trend_sentence(row: BurnerTrend, on: Passing | None = None, *, units: str = Units.SI) -> str:
    """What a trend says, with its interval, and when its line passes a limit."""
    quantity = BY_CODE[row.quantity]
    scale = quantity.scale(units)
    words = {"name": str(quantity.name).capitalize() if quantity.code[:2] != "co" else str(quantity.name)}
    words["unit"] = scale.unit
    if row.step is not None and row.step_on is not None:
        text = _("%(name)s: its level changed by %(step)s %(unit)s between visits, by %(day)s.") % {
            **words,
            "step": _signed(row.step * scale.factor, scale.digits),
            "day": date_format(row.step_on, "j M Y"),
        }
    elif row.slope is None or row.slope_low is None or row.slope_high is None:
        return _("%(name)s: too few readings for a trend (%(count)d; four are needed).") % {
            **words,
            "count": row.readings,
        }
    elif row.slope_low <= 0.0 <= row.slope_high:
        text = _("%(name)s: no trend can be told (%(low)s to %(high)s %(unit)s a year, 95 %%).") % {
            **words,
            "low": _signed(row.slope_low * scale.factor, scale.digits + 1),
            "high": _signed(row.slope_high * scale.factor, scale.digits + 1),
        }
    else:
        text = _("%(name)s: %(slope)s %(unit)s a year (95 %%: %(low)s to %(high)s).") % {
            **words,
            "slope": _signed(row.slope * scale.factor, scale.digits + 1),
            "low": _signed(row.slope_low * scale.factor, scale.digits + 1),
            "high": _signed(row.slope_high * scale.factor, scale.digits + 1),
        }
    return f"{text} {_passing(on, scale)}".strip()


def _passing(on: Passing | None, scale: Scale) -> str:
    if on is None or (on.on is None and not on.passed):
        return ""
    where = {"limit": f"{on.limit.value * scale.factor:.4g} {scale.unit}", "source": on.limit.source}
    if on.passed:
        return _("The limit of %(limit)s (%(source)s) is passed.") % where
    ends = {
        "day": _month(on.on),
        "first": _month(on.earliest or on.on),
        "last": _month(on.latest) if on.latest else _("not within five years"),
    }
    text = _("At that pace it passes %(limit)s (%(source)s) about %(day)s (95 %%: %(first)s to %(last)s).")
    return text % {**where, **ends}


def _line(
    row: BurnerTrend, times: np.ndarray, last: float, factor: float
) -> list[tuple[date, float, float, float]]:
    if row.slope is None or row.slope_low is None or row.slope_high is None or not len(times):
        return []
    middle = float(np.median(times))
    pivot = row.level - row.slope * (last - middle)
    ends = []
    for time in (float(times.min()), last + 1.0):
        reach = sorted(pivot + slope * (time - middle) for slope in (row.slope_low, row.slope_high))
        values = (pivot + row.slope * (time - middle), *reach)
        middle_value, low, high = (value * factor for value in values)
        ends.append((day_of(time) or EPOCH, middle_value, low, high))
    return ends


def _signed(value: float, digits: int) -> str:
    return f"{value:+.{digits}f}".replace("-", "−")


def _month(day: date | None) -> str:
    return date_format(day, "M Y") if day else "–"
