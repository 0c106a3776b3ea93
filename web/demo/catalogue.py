"""The invented makers' models: ratio control, trims with their true turn sensitivity, firing specs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from fleet.models import ApplianceModel, ModelTrim, Point

Control = ApplianceModel.RatioControl
Kind = ApplianceModel.Kind
Mover = ModelTrim.Mover

NATURAL_GAS = "natural_gas"
PROPANE = "propane"
ACCEPT_CO2_PCT = 0.3
"""Half the acceptance band beyond target where the maker gives none: common practice, no source."""


@dataclass(frozen=True)
class TrimCard:
    """One trim: where it is, its tool, which way lowers CO2, and what one turn truly does.

    per_turn: change of ln K (throttle) or of the offset in Pa (offset) per turn that raises CO2, positive.
    """

    kind: str
    location: str
    tool: str
    lowers_co2: str
    per_turn: float
    mover: str = Mover.FIELD
    max_step_turns: float = 0.25

    @property
    def raises_co2(self) -> str:
        return "anticlockwise" if self.lowers_co2 == "clockwise" else "clockwise"


@dataclass(frozen=True)
class SpecCard:
    """One firing spec: a band of its own, or low fire as a signed difference from high fire."""

    fuel: str
    point: str
    target_co2_pct: tuple[float, float] | None
    difference_pct: tuple[float, float] | None = None
    percent: float | None = None
    accept_co2_pct: tuple[float, float] | None = None


@dataclass(frozen=True)
class ModelCard:
    """One invented model."""

    maker: str
    name: str
    input_gross_kw: float
    turndown: float | None
    signal_pa: float | None = None
    kind: str = Kind.BOILER
    control: str = Control.PNEUMATIC_PREMIX
    condensing: bool = True
    burners: int = 1
    fan_rpm: tuple[float, float] | None = None
    """High and low, in the turndown's ratio: a premix fan carries the air in proportion to its speed."""
    specs: tuple[SpecCard, ...] = ()
    trims: tuple[TrimCard, ...] = ()
    co_max_ppm: float = 200.0
    flue_temp_max_c: float = 90.0
    throttle_drift_per_year: float = 0.0
    """True yearly change of ln K: a part that ages badly."""
    weight: int = field(default=10, compare=False)
    """How often it is met in the fleet."""

    @property
    def key(self) -> tuple[str, str]:
        return self.maker, self.name

    @property
    def premix(self) -> bool:
        return self.control == Control.PNEUMATIC_PREMIX

    @property
    def source(self) -> str:
        return f"{self.maker} {self.name} installation and service manual, issue 3, table 7 (invented)"

    def spec(self, fuel: str, point: str) -> SpecCard | None:
        """The spec of this fuel and firing point, or None."""
        return next((s for s in self.specs if (s.fuel, s.point) == (fuel, point)), None)

    def trim(self, kind: str) -> TrimCard | None:
        """The trim of this kind, or None."""
        return next((t for t in self.trims if t.kind == kind), None)


def _bands(high: float, low: float, lpg_high: float, lpg_low: float) -> tuple[SpecCard, ...]:
    """Targets ± 0.2 % CO2 at both points on both fuels, each point with its own band."""
    return tuple(
        SpecCard(fuel, point, (round(mid - 0.2, 2), round(mid + 0.2, 2)))
        for fuel, point, mid in (
            (NATURAL_GAS, Point.HIGH, high),
            (NATURAL_GAS, Point.LOW, low),
            (PROPANE, Point.HIGH, lpg_high),
            (PROPANE, Point.LOW, lpg_low),
        )
    )


def _difference(high: float, lpg_high: float, difference: tuple[float, float]) -> tuple[SpecCard, ...]:
    """High fire as a band ± 0.2 % CO2, low fire as a difference from the high fire as left."""
    return tuple(
        spec
        for fuel, mid in ((NATURAL_GAS, high), (PROPANE, lpg_high))
        for spec in (
            SpecCard(fuel, Point.HIGH, (round(mid - 0.2, 2), round(mid + 0.2, 2))),
            SpecCard(fuel, Point.LOW, None, difference),
        )
    )


_CORVANE_TRIMS = (
    TrimCard("throttle", "gas valve outlet, under the white cap", "2.5 mm hex key", "clockwise", 0.08),
    TrimCard("offset", "gas valve face, under the sealing plug", "4 mm hex key", "anticlockwise", 6.0),
)
_OSTRELL_TRIMS = (
    TrimCard("throttle", "mixer inlet, left of the fan", "flat screwdriver, 4 mm", "anticlockwise", 0.06),
    TrimCard("offset", "regulator cap, top of the gas valve", "flat screwdriver, 3 mm", "anticlockwise", 8.0),
)
_OSTRELL_LARGE_TRIMS = (
    TrimCard("throttle", "gas train, main throttle spindle", "8 mm spanner", "anticlockwise", 0.05),
    TrimCard(
        "offset",
        "regulator cap, top of the gas valve",
        "flat screwdriver, 3 mm",
        "anticlockwise",
        8.0,
        Mover.MAKER_TRAINED,
    ),
)
_BRIGHTHOLM_TRIMS = (
    TrimCard("throttle", "gas valve, front, marked with an arrow", "3 mm hex key", "clockwise", 0.10),
    TrimCard("offset", "gas valve, rear, brass cover", "4 mm hex key", "anticlockwise", 5.0),
)
_BRIGHTHOLM_SMALL_TRIMS = (
    _BRIGHTHOLM_TRIMS[0],
    TrimCard("offset", "under the maker's seal", "", "anticlockwise", 5.0, Mover.SEALED),
)

MODELS: tuple[ModelCard, ...] = (
    ModelCard(
        "Corvane", "CV-60", 62.0, 5.0, 550.0, fan_rpm=(6200, 1240), weight=14,
        specs=_bands(9.0, 8.6, 10.0, 9.6), trims=_CORVANE_TRIMS,
    ),
    ModelCard(
        "Corvane", "CV-110", 112.0, 5.0, 700.0, fan_rpm=(6600, 1320), weight=16,
        specs=_bands(9.0, 8.6, 10.0, 9.6), trims=_CORVANE_TRIMS,
    ),
    ModelCard(
        "Corvane", "CV-250", 252.0, 6.0, 900.0, fan_rpm=(7000, 1170), weight=10,
        specs=_bands(9.1, 8.6, 10.1, 9.6), trims=_CORVANE_TRIMS,
    ),
    ModelCard(
        "Corvane", "CW-80", 80.0, 4.0, 600.0, Kind.WATER_HEATER, fan_rpm=(6400, 1600), weight=8,
        specs=_bands(8.9, 8.5, 9.9, 9.5), trims=_CORVANE_TRIMS,
    ),
    ModelCard(
        "Ostrell", "OL-90", 91.0, 5.0, 650.0, fan_rpm=(5900, 1180), weight=12,
        specs=_difference(9.0, 10.0, (-0.6, -0.2)), trims=_OSTRELL_TRIMS, throttle_drift_per_year=-0.012,
    ),
    ModelCard(
        "Ostrell", "OL-150", 152.0, 5.0, 750.0, fan_rpm=(6100, 1220), weight=12,
        specs=_difference(9.0, 10.0, (-0.6, -0.2)), trims=_OSTRELL_TRIMS,
    ),
    ModelCard(
        "Ostrell", "OL-320", 318.0, 6.0, 1000.0, fan_rpm=(5200, 870), weight=5,
        specs=_bands(9.2, 8.8, 10.2, 9.8), trims=_OSTRELL_LARGE_TRIMS,
    ),
    ModelCard(
        "Brightholm", "BH-45", 45.0, 4.0, 450.0, Kind.WATER_HEATER, fan_rpm=(5600, 1400), weight=10,
        specs=_bands(8.8, 8.4, 9.8, 9.4), trims=_BRIGHTHOLM_SMALL_TRIMS,
    ),
    ModelCard(
        "Brightholm", "BH-130", 131.0, 5.0, 720.0, fan_rpm=(6300, 1260), weight=12,
        specs=_bands(9.0, 8.7, 10.0, 9.7), trims=_BRIGHTHOLM_TRIMS,
    ),
    ModelCard(
        "Brightholm", "BH-2x200", 400.0, 5.0, 850.0, burners=2, fan_rpm=(6500, 1300), weight=0,
        specs=_bands(9.0, 8.6, 10.0, 9.6), trims=_BRIGHTHOLM_TRIMS,
    ),
    ModelCard(
        "Brightholm", "BA-70", 70.0, None, None, Kind.WATER_HEATER, Control.ATMOSPHERIC, condensing=False,
        specs=(
            SpecCard(NATURAL_GAS, Point.HIGH, (6.0, 7.0), accept_co2_pct=(5.2, 7.6)),
            SpecCard(PROPANE, Point.HIGH, (7.0, 8.0), accept_co2_pct=(6.2, 8.6)),
        ),
        co_max_ppm=300.0, flue_temp_max_c=230.0, weight=4,
    ),
    ModelCard(
        "Ostrell", "OD-600", 605.0, 3.0, None, Kind.BOILER, Control.FORCED_DRAUGHT, condensing=False,
        specs=(
            SpecCard(NATURAL_GAS, Point.HIGH, (9.6, 10.2), accept_co2_pct=(9.2, 10.6)),
            SpecCard(NATURAL_GAS, Point.PERCENT, (9.2, 9.8), percent=60.0, accept_co2_pct=(8.8, 10.2)),
            SpecCard(NATURAL_GAS, Point.LOW, (8.6, 9.2), accept_co2_pct=(8.0, 9.8)),
            SpecCard(PROPANE, Point.HIGH, (11.0, 11.6), accept_co2_pct=(10.6, 12.0)),
            SpecCard(PROPANE, Point.PERCENT, (10.6, 11.2), percent=60.0, accept_co2_pct=(10.2, 11.6)),
            SpecCard(PROPANE, Point.LOW, (10.0, 10.6), accept_co2_pct=(9.4, 11.2)),
        ),
        co_max_ppm=150.0, flue_temp_max_c=240.0, weight=3,
    ),
    ModelCard(
        "Corvane", "CF-30", 30.0, None, None, Kind.BOILER, Control.FIXED,
        specs=(
            SpecCard(NATURAL_GAS, Point.HIGH, (8.4, 9.2), accept_co2_pct=(7.9, 9.7)),
            SpecCard(PROPANE, Point.HIGH, (9.4, 10.2), accept_co2_pct=(8.9, 10.7)),
        ),
        weight=4,
    ),
)  # fmt: skip


def model_named(name: str) -> ModelCard:
    """The model of this name."""
    return next(card for card in MODELS if card.name == name)


def acceptance(spec: SpecCard) -> tuple[float, float] | None:
    """The acceptance band of a spec with a band of its own: the maker's, else target ± 0.3 % CO2."""
    if spec.target_co2_pct is None:
        return None
    low, high = spec.target_co2_pct
    return spec.accept_co2_pct or (low - ACCEPT_CO2_PCT, high + ACCEPT_CO2_PCT)


def makers() -> Iterator[str]:
    """The makers' names, each once, in order of appearance."""
    return iter(dict.fromkeys(card.maker for card in MODELS))
