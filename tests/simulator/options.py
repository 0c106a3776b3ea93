"""Everything about a simulated fleet that can be chosen."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Options:
    """Magnitudes of a simulated fleet. Spreads are standard deviations unless said otherwise."""

    appliances: int = 10_000
    visits: int = 10
    analysers: int = 30
    areas: int = 8
    models: int = 6
    home_share: float = 0.8
    """Share of visits that an analyser spends in its home area."""

    throttle_spread: float = 0.008
    """Usual movement of ln K per square root of a year."""
    offset_spread_pa: float = 0.35
    spread_between: float = 0.2
    """Log-normal standard deviation of the usual movement between appliances."""
    wander_share: float = 0.03
    wander_ratio: tuple[float, float] = (3.0, 5.0)
    wander_trims: str = "one"
    """one (either with equal chance), both, throttle, offset."""
    throttle_drift: float = 0.0
    """Spread between burners of a steady one-way change of ln K per year."""
    jump_share: float = 0.0
    """Share of burners whose throttle jumps once, by about six times the usual yearly movement."""

    noise_co2_pct: float = 0.06
    noise_kind: str = "normal"
    """normal, student (4 degrees of freedom), laplace, spikes (2 % of readings five times as noisy)."""
    readings: int = 1
    believed_noise_factor: float = 1.0
    """What the estimator is told about the noise, over the truth."""
    blunder_share: float = 0.0
    """Share of tests with a reading up to 3 % CO2 from the truth."""
    decimals: int = 2

    bias_co2_pct: float = 0.15
    faulty_share: float = 0.02
    faulty_co2_pct: float = 0.5
    repaired_share: float = 0.0
    """Share of analyser periods in which the bias changes once, at a repair nobody recorded."""
    gas: float = 0.01
    """Stationary spread of ln G by area and month."""
    gas_correlation: float = 0.85

    season: bool = True
    intake_exponent: float = 0.5
    """True power of the intake temperature; the estimator believes one half."""
    low_read_share: float = 1.0
    lost_share: float = 0.0
    """Share of visits after the first that never took place."""
    turndown_error: float = 0.03
    pressure_error: float = 0.05
    pressure_known_share: float = 1.0

    acceptance_co2_pct: float = 0.3
    adjust_on: str = "reading"
    """reading (sets what the analyser shows, then reads again), same (records what was set), truth."""
    adjust_scatter_co2_pct: float = 0.05
    clumsy_share: float = 0.0
    """Share of adjustments that miss the target by about 0.3 % CO2."""

    def but(self, **changes: object) -> Options:
        """The same fleet with some magnitudes changed."""
        return replace(self, **changes)  # type: ignore[arg-type]


SCENARIOS: dict[str, Options] = {
    "base": Options(),
    # out of band mostly by what moves: no season in the readings, a band no narrower than the analysers allow
    "calmer": Options(season=False, acceptance_co2_pct=0.5),
    "both trims wander": Options(wander_trims="both"),
    "mean of three readings": Options(readings=3),
    "no wanderers": Options(wander_share=0.0),
    "noise a third higher than believed": Options(believed_noise_factor=0.75),
    "noise a third lower than believed": Options(believed_noise_factor=4.0 / 3.0),
    "1,000 appliances": Options(appliances=1_000),
    "3,000 appliances": Options(appliances=3_000),
    "heavy-tailed noise": Options(noise_kind="student"),
    "spikes and blunders": Options(noise_kind="spikes", blunder_share=0.003),
    "clumsy, lost, repaired": Options(
        lost_share=0.15,
        clumsy_share=0.2,
        repaired_share=0.05,
        turndown_error=0.1,
        pressure_error=0.15,
        intake_exponent=0.6,
    ),
    "other magnitudes": Options(
        throttle_spread=0.012,
        offset_spread_pa=0.6,
        spread_between=0.3,
        wander_share=0.05,
        noise_co2_pct=0.05,
        bias_co2_pct=0.2,
        gas=0.006,
        visits=8,
    ),
    "sets the truth": Options(adjust_on="truth"),
    "records what was set": Options(adjust_on="same"),
    "drift and jumps": Options(throttle_drift=0.004, jump_share=0.01),
}
