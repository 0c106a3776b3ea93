"""The band bar: one firing point's CO2 on a line with its target and acceptance bands.

Geometry only, in the bar's own coordinates, so that the drawing needs no inline style.
"""

from dataclasses import dataclass

WIDTH, MARGIN = 240.0, 10.0
LEAST_SPAN_PCT = 1.2


@dataclass(frozen=True)
class Mark:
    """One reading on the bar: where it stands and how far its 95 % interval reaches."""

    x: float
    low: float
    high: float
    value_co2_pct: float
    cut_off: bool


@dataclass(frozen=True)
class Span:
    """A band from `x`, `width` wide."""

    x: float
    width: float


@dataclass(frozen=True)
class BandBar:
    """What the template draws."""

    target: Span | None
    accept: Span | None
    found: Mark | None
    left: Mark | None
    width: float = WIDTH


def band_bar(
    *,
    target_co2_pct: tuple[float, float] | None,
    accept_co2_pct: tuple[float, float] | None,
    found: tuple[float, float | None] | None,
    left: tuple[float, float | None] | None,
) -> BandBar | None:
    """Lay out a bar, or None where there is nothing to compare.

    Bands: lower and upper end, CO2 dry vol %. `found`, `left`: value and standard uncertainty, CO2 dry vol %.
    The scale shows the acceptance band and half its width on either side; what lies beyond is drawn at the
    edge and marked as cut off.
    """
    frame = accept_co2_pct or target_co2_pct
    if frame is None or (found is None and left is None):
        return None
    middle = sum(frame) / 2
    span = max(2.2 * (frame[1] - frame[0]), LEAST_SPAN_PCT)
    scale = _Scale(middle - span / 2, middle + span / 2)
    return BandBar(
        target=scale.span(target_co2_pct),
        accept=scale.span(accept_co2_pct),
        found=scale.mark(found),
        left=scale.mark(left),
    )


@dataclass(frozen=True)
class _Scale:
    low: float
    high: float

    def x(self, value: float) -> float:
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return round(MARGIN + share * (WIDTH - 2 * MARGIN), 1)

    def span(self, band: tuple[float, float] | None) -> Span | None:
        if band is None:
            return None
        start, end = self.x(band[0]), self.x(band[1])
        return Span(start, round(end - start, 1))

    def mark(self, reading: tuple[float, float | None] | None) -> Mark | None:
        if reading is None:
            return None
        value, spread = reading[0], 2 * (reading[1] or 0.0)
        return Mark(
            x=self.x(value),
            low=self.x(value - spread),
            high=self.x(value + spread),
            value_co2_pct=value,
            cut_off=not self.low <= value <= self.high,
        )
