"""From planned appliances to lived ones: the arrays of a chunk of the fleet, simulated."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from combustion.trims import ln_intake_factor
from fleet.models import Point
from web.demo.catalogue import ModelCard, SpecCard, acceptance
from web.demo.physics import F64, FUEL_SLUGS, Burners, Grid, History, simulate, start_states
from web.demo.plan import AppliancePlan, VisitPlan
from web.demo.readings import Nameplate, intake_c, measured_columns
from web.demo.world import World

TRIMS = ("throttle", "offset")
AIR_SOURCES = ("room", "ducted", "concentric")
TURNDOWN_SPREAD = 0.03
SIGNAL_SPREAD = 0.05
UNRECORDED_LN_G = 0.003
"""Of humidity and gas temperature, which nobody writes down."""
SENSITIVITY_SPREAD = 0.08
COUNTED_SHARE = 0.75
FIXED_SPREAD = 0.4
"""Movement of burners without trims, over the usual."""


@dataclass(repr=False)
class Lives:
    """The burners of some appliances, before and after they are simulated."""

    appliances: list[AppliancePlan]
    first_burner: dict[str, int]
    """Tag to the row of the appliance's first burner."""
    cards: list[ModelCard]
    burners: Burners
    plate: Nameplate
    wanders: np.ndarray
    """(n, 2): throttle, offset."""
    history: History = field(init=False)
    columns: F64 = field(init=False)
    turns: F64 = field(init=False)
    """(n, v, 2): turns as recorded, NaN where nobody counted."""


def draw_lives(appliances: list[AppliancePlan], world: World, draw: np.random.Generator) -> Lives:
    """Burners with states, movement and random wander, as the world's magnitudes have it."""
    first_burner: dict[str, int] = {}
    cards: list[ModelCard] = []
    fuels: list[str] = []
    for appliance in appliances:
        first_burner[appliance.tag] = len(cards)
        cards += [appliance.model] * appliance.model.burners
        fuels += [appliance.fuel] * appliance.model.burners
    burners, wanders = _burners(cards, fuels, world, draw)
    return Lives(appliances, first_burner, cards, burners, _plate(cards), wanders)


def live(lives: Lives, world: World, draw: np.random.Generator) -> None:
    """Simulate; afterwards `history`, `columns` and `turns` are there."""
    visits = max((len(appliance.visits) for appliance in lives.appliances), default=0)
    grid = Grid.empty(len(lives.cards), visits)
    day_of_year, source = _fill(lives, world, grid)
    air_temp_c = intake_c(day_of_year, source[:, None], draw)
    grid.ln_g += ln_intake_factor(air_temp_c) + UNRECORDED_LN_G * draw.standard_normal(grid.ln_g.shape)
    start_states(lives.burners, draw)
    lives.history = simulate(lives.burners, grid, world.magnitudes.noise_co2_pct, draw)
    lives.columns = measured_columns(lives.burners, lives.plate, grid, lives.history, air_temp_c, draw)
    lives.turns = _turns(lives, draw)


def points_of(card: ModelCard, fuel: str) -> tuple[str, ...]:
    """The firing points that the model is read at, high fire first."""
    return tuple(point for point in (Point.HIGH, Point.LOW, Point.PERCENT) if card.spec(fuel, point))


def bias_of(world: World, visit: VisitPlan) -> float:
    """The true bias of the analyser used, on the day."""
    analyser = world.analysers[visit.attendance.analyser]
    return analyser.periods[analyser.period_on(visit.attendance.on)].bias_co2_pct


def _burners(
    cards: list[ModelCard], fuels: list[str], world: World, draw: np.random.Generator
) -> tuple[Burners, np.ndarray]:
    count, size = len(cards), world.magnitudes
    low = [card.spec(fuel, Point.LOW) for card, fuel in zip(cards, fuels, strict=True)]
    premix = np.array([card.premix for card in cards])
    usual = np.where(premix, np.exp(size.spread_between * draw.standard_normal(count)), FIXED_SPREAD)
    wanders = np.zeros((count, 2), bool)
    chosen = premix & (draw.random(count) < size.wander_share)
    wanders[np.arange(count), np.where(draw.random(count) < 0.5, 0, 1)] = chosen
    ratio = np.where(wanders, draw.uniform(*size.wander_ratio, (count, 2)), 1.0)
    turndown = np.array([card.turndown if card.turndown else 2.0 for card in cards])
    signal = np.array([card.signal_pa or 700.0 for card in cards])
    burners = Burners(
        fuel=np.array([FUEL_SLUGS.index(fuel) for fuel in fuels]),
        has_low=np.array([spec is not None for spec in low]),
        turndown=turndown * (1.0 + TURNDOWN_SPREAD * draw.standard_normal(count)),
        signal_pa=signal * (1.0 + SIGNAL_SPREAD * draw.standard_normal(count)),
        movable=np.array([_movable(card) for card in cards]).reshape(-1, 2),
        high_band=np.array(
            [_band(card.spec(fuel, Point.HIGH)) for card, fuel in zip(cards, fuels, strict=True)]
        ),
        low_band=np.array([_band(spec) for spec in low]),
        low_relative=np.array([spec is not None and spec.difference_pct is not None for spec in low]),
        ln_k=np.zeros(count),
        offset_pa=np.zeros(count),
        drift_ln_k=np.array([card.throttle_drift_per_year for card in cards]),
        drift_pa=np.zeros(count),
        spread_ln_k=size.throttle_spread * usual * ratio[:, 0],
        spread_pa=size.offset_spread_pa * usual * ratio[:, 1],
    )
    return burners, wanders


def _turns(lives: Lives, draw: np.random.Generator) -> F64:
    """Amounts to the sixteenth of a turn, by each burner's own sensitivity; a quarter was never counted."""
    per_turn = np.array(
        [[trim.per_turn if (trim := card.trim(kind)) else np.nan for kind in TRIMS] for card in lives.cards]
    ).reshape(-1, 1, 2)
    own = 1.0 + SENSITIVITY_SPREAD * draw.standard_normal((len(lives.cards), 1, 2))
    moved = np.abs(np.stack([lives.history.moved_ln_k, lives.history.moved_pa], axis=-1))
    turns = np.maximum(np.round(16.0 * moved / (per_turn * own)), 1.0) / 16.0
    return np.where(draw.random(turns.shape) < COUNTED_SHARE, turns, np.nan)


def _plate(cards: list[ModelCard]) -> Nameplate:
    fans = np.array([card.fan_rpm or (np.nan, np.nan) for card in cards], dtype=float).reshape(-1, 2)
    return Nameplate(
        input_gross_kw=np.array([card.input_gross_kw / card.burners for card in cards]),
        condensing=np.array([card.condensing for card in cards]),
        fan_high_rpm=fans[:, 0],
        fan_low_rpm=fans[:, 1],
    )


def _movable(card: ModelCard) -> tuple[bool, bool]:
    throttle, offset = card.trim("throttle"), card.trim("offset")
    return throttle is not None, offset is not None and offset.mover != "sealed"


def _band(spec: SpecCard | None) -> tuple[float, float, float, float, float]:
    """Accept low, target low, middle, target high, accept high; a difference is its own acceptance."""
    if spec is None:
        return (0.0, 0.0, 9.0, 25.0, 25.0)
    if spec.difference_pct is not None:
        low, high = spec.difference_pct
        return (low, low, (low + high) / 2.0, high, high)
    low, high = spec.target_co2_pct or (0.0, 25.0)
    accept = acceptance(spec) or (low, high)
    return (accept[0], low, (low + high) / 2.0, high, accept[1])


def _fill(lives: Lives, world: World, grid: Grid) -> tuple[F64, np.ndarray]:
    """Put every visit on the grid; returns the day of the year and each burner's air source."""
    day_of_year = np.ones(grid.present.shape)
    source = np.zeros(len(lives.cards), int)
    for appliance in lives.appliances:
        first = lives.first_burner[appliance.tag]
        rows = slice(first, first + appliance.model.burners)
        source[rows] = AIR_SOURCES.index(appliance.air_source)
        for position, visit in enumerate(appliance.visits):
            on = visit.attendance.on
            grid.present[rows, position] = True
            grid.year[rows, position] = on.toordinal() / 365.25
            grid.reads[rows, position] = visit.reads
            grid.may_adjust[rows, position] = visit.may_adjust
            grid.ln_g[rows, position] = world.gas_on(appliance.plant.site.area, on)
            grid.bias_co2_pct[rows, position] = bias_of(world, visit)
            grid.upset_ln[rows, position] = visit.upset_ln
            day_of_year[rows, position] = on.timetuple().tm_yday
    return day_of_year, source
