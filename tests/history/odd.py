"""A history of odd visits, and what bears on them put on file: specs, trims, analysers and gases."""

import random
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

from fleet.models import (
    Analyser,
    AnalyserChannel,
    AnalyserPeriod,
    ApplianceModel,
    FiringSpec,
    ModelTrim,
    Site,
    SuppliedGas,
)
from tests.history.files import row

POINTS = [(phase, point) for phase in ("as_found", "as_left") for point in ("high", "low")]
ODD = {
    "co2_pct": [-1, 0, 14, 25, 1e-7, 999_999],
    "o2_pct": [-2, 0, 20.94, 21, 1e-9, 30],
    "co_ppm": [-5, 0, 300, 2500, 150_000],
    "flue_temp_c": [-60, 5, 900],
    "air_temp_c": [-60, 90],
}


def odd_visits(count: int, seed: int = 5) -> Iterator[dict[str, str]]:
    """Rows of visits to 40 appliances, some with two burners: tests missing, shuffled, impossible."""
    dice = random.Random(seed)
    for number in range(count):
        unit = dice.randrange(40)
        at = datetime(2016, 1, 4, 8, tzinfo=UTC) + timedelta(hours=31 * number)
        order = dice.sample(POINTS, 4) if dice.random() < 0.3 else list(POINTS)
        order = order[: dice.choice([1, 2, 3, 4, 4, 4])] + order[:1] * dice.choice([0, 0, 0, 1])
        analyser = f"P4-{unit % 6}" if dice.random() < 0.9 else ""
        visit: dict[str, Any] = {
            "customer": f"Customer {unit // 20}",
            "site": f"Site {unit // 10}",
            "plant": f"Plant {unit // 5}",
            "appliance": f"B{unit}",
            "serial": f"S{unit}",
            "model": f"CX{unit % 8}",
            "gas_area": f"Area {unit // 20}",
            "timezone": "Europe/London",
            "elevation_m": 300 * (unit // 10 % 2),
            "visit": f"V{number}",
            "kind": "annual_service" if number % 5 else "recheck",
            "fuel": dice.choice(["propane", "natural_gas"]) if unit % 7 == 0 else "natural_gas",
            "technician": f"Technician {unit // 5}" if dice.random() < 0.9 else "",
            "analyser": analyser,
            "calibrated_on": f"{at.year}-01-0{1 + unit % 3}" if analyser and dice.random() < 0.8 else "",
        }
        trim = dice.choice(["", "throttle", "offset", "both"])
        for burner in ("1", "2") if unit % 9 == 0 else ("",):
            for phase, point in order:
                at += timedelta(minutes=dice.choice([5, 5, 5, -7]))
                moved = phase == "as_left" and trim
                yield row(
                    **visit,
                    burner=burner,
                    observed_at=at.isoformat(),
                    firing_point=point,
                    phase=phase,
                    sequence=dice.randrange(9) if number % 11 == 0 else "",
                    co2_source=dice.choice(["", "measured", "derived"]),
                    moved_before=dice.choice(["", "", "yes", "no"]) if phase == "as_found" else "",
                    adjusted_trim=trim if moved else "",
                    turns=dice.choice(["", "0.25"]) if moved and trim != "both" else "",
                    part_fitted="valve" if dice.random() < 0.03 else "",
                    **_readings(dice, point),
                )


def _readings(dice: random.Random, point: str) -> dict[str, str]:
    low = point == "low"
    usual = {
        "co2_pct": dice.gauss(8.6 if low else 9.0, 0.3),
        "o2_pct": dice.gauss(5.6 if low else 4.9, 0.3),
        "co_ppm": abs(dice.gauss(40, 60)),
        "flue_temp_c": dice.gauss(60, 15),
        "air_temp_c": dice.gauss(15, 4),
        "inlet_pressure_mbar": dice.gauss(20, 3),
        "fan_rpm": (1500 if low else 6000) * dice.uniform(0.9, 1.05),
    }
    for name, values in ODD.items():
        if dice.random() < 0.03:
            usual[name] = dice.choice(values)
    return {name: repr(round(value, 9)) for name, value in usual.items() if dice.random() < 0.88}


def furnish() -> None:
    """Put on file what bears on judgements, for most models, analysers and periods that there are."""
    for number, model in enumerate(ApplianceModel.objects.order_by("name")):
        if number % 8 == 7:
            continue
        high = {"target_low_co2_pct": 8.9, "target_high_co2_pct": 9.1, "co_max_ppm": 100}
        if number % 2:
            high |= {"accept_low_co2_pct": 8.7, "accept_high_co2_pct": 9.3, "flue_temp_max_c": 80}
        if number % 3:
            high |= {"inlet_pressure_low_mbar": 17, "inlet_pressure_high_mbar": 25}
        low = {"target_low_co2_pct": 8.5, "target_high_co2_pct": 8.7, "co_max_ppm": 100}
        if number % 4 == 0:
            low = {"below_high_fire_low_pct": -0.6, "below_high_fire_high_pct": -0.2}
        for point, limits in (("high", high), ("low", low)):
            if (number, point) != (3, "low"):
                FiringSpec.objects.create(
                    model=model, fuel="natural_gas", point=point, source="invented", **limits
                )
        if number % 3 == 0:
            ApplianceModel.objects.filter(pk=model.pk).update(fan_high_rpm=6000)
            ModelTrim.objects.create(model=model, kind="throttle")
    for number, analyser in enumerate(Analyser.objects.order_by("tag")):
        if number % 2:
            AnalyserChannel.objects.create(analyser=analyser, quantity="o2_pct", accuracy_abs=0.2)
            Analyser.objects.filter(pk=analyser.pk).update(fuel_setting="methane")
        if number % 3 == 0:
            AnalyserChannel.objects.create(
                analyser=analyser, quantity="co_ppm", accuracy_abs=5, accuracy_rel=0.05, range_high=2000
            )
    for number, period in enumerate(AnalyserPeriod.objects.order_by("analyser__tag", "starts_on")):
        if number % 4 == 0:
            period.applied_bias_run, period.applied_bias_co2_pct = 7, 0.12 * (-1) ** (number // 4)
            period.applied_bias_u_co2_pct = 0.03
        if number % 5 == 0 and period.starts_on:
            period.calibration_due_on = period.starts_on + timedelta(days=100)
        period.save()
    SuppliedGas.objects.create(
        site=Site.objects.earliest("pk"),
        from_on=date(2016, 3, 1),
        fuel="natural_gas",
        composition={"methane": 0.9, "ethane": 0.06, "nitrogen": 0.04},
    )
