"""What a run found of the small fleet, written by hand: quick, and with every case on a page."""

from datetime import date, timedelta

from analytics.costing.totals import total_of
from analytics.models import (
    ApplianceDrift,
    DriftPointer,
    DriftRun,
    FleetMonth,
    GasShift,
    ModelAgeing,
    PeriodBias,
    TechnicianRepeat,
    TrimDrift,
    TuningCost,
)
from analytics.summing import ALL_AGES
from fleet.models import AnalyserPeriod, Appliance, ApplianceModel
from tests.web.small_fleet import SmallFleet

STEADY = {"visits": 6, "drift_per_year": 0.1, "drift_low": -0.3, "drift_high": 0.5, "usual_per_year": 0.8}


def a_run(fleet: SmallFleet, today: date) -> DriftRun:
    """One run that readers see: a wanderer, a steady one, an analyser that is off, a gas that shifted."""
    run = DriftRun.objects.create(
        kind="nightly", started_at=f"{today}T02:00Z", finished_at=f"{today}T02:10Z", as_of=today
    )
    DriftPointer.objects.update_or_create(only=1, defaults={"current": run})
    found_of(run, fleet.appliance, chance=0.97, today=today)
    found_of(run, fleet.other_appliance, chance=0.02, today=today)
    model, area = fleet.appliance.model, fleet.site.gas_area
    for age in (ALL_AGES, 5):
        ageing_of(run, model, age)
    PeriodBias.objects.create(
        run=run,
        period=AnalyserPeriod.objects.get(),
        bias_co2_pct=0.4,
        bias_u_co2_pct=0.03,
        readings=24,
        weak=False,
        visits=12,
        first_on=today - timedelta(days=700),
        last_on=today - timedelta(days=20),
        verdicts_changed=3,
    )
    for month in range(1, 15):
        first = date(2024 + (month - 1) // 12, (month - 1) % 12 + 1, 1)
        shift = 2.5 if month > 7 else 0.0
        GasShift.objects.create(
            run=run, gas_area=area, month=first, shift_pct=shift, shift_u_pct=0.4, readings=20, weak=False
        )
    for number, back in ((3, 0), (1, 12)):
        FleetMonth.objects.create(
            run=run,
            month=date(2025 - back // 12, 3, 1),
            inside=9,
            probably_inside=2,
            probably_outside=1,
            outside=number,
            not_judged=1,
        )
    cost_of(run, fleet.appliance, 3_400.0, today=today)
    cost_of(run, fleet.other_appliance, -900.0, today=today)
    run.tuning_cost = total_of(TuningCost.objects.filter(run=run)).as_json()
    run.save(update_fields=["tuning_cost"])
    TechnicianRepeat.objects.create(
        run=run,
        technician=fleet.technician,
        pairs=31,
        sd_co2_pct=0.06,
        sd_low_co2_pct=0.05,
        sd_high_co2_pct=0.08,
    )
    return run


def found_of(run: DriftRun, appliance: Appliance, *, chance: float, today: date) -> None:
    """Both trims of an appliance: the throttle as sure as is said, the offset without an estimate."""
    flagged = chance > 0.8
    ApplianceDrift.objects.create(
        run=run,
        appliance=appliance,
        wander_probability=chance,
        flagged=flagged,
        outside=[[today.isoformat(), 0.2], [(today + timedelta(days=365)).isoformat(), 0.7]],
        next_visit_by=today + timedelta(days=5) if flagged else None,
        next_visit_reason="outside" if flagged else "",
    )
    trim = {"run": run, "appliance": appliance, "burner": appliance.burners.first()}
    TrimDrift.objects.create(
        **trim,
        **STEADY,
        trim="throttle",
        unit="pct_k",
        moved_per_year=4.1 if flagged else 0.7,
        from_analyser_per_year=0.36,
        from_gas_per_year=0.48,
        wander_probability=chance,
        flagged=flagged,
    )
    TrimDrift.objects.create(**trim, trim="offset", unit="pa", visits=2, reason="two_visits")


def cost_of(run: DriftRun, appliance: Appliance, kwh: float, *, today: date) -> None:
    """What an appliance's burner loses a year, at a price; and the same on its drift row."""
    low, high = sorted((0.5 * kwh, 1.5 * kwh))
    shared = dict.fromkeys(("analyser", "gas", "air", "flue", "response", "split"), 0.1 * abs(kwh))
    TuningCost.objects.create(
        run=run,
        appliance=appliance,
        burner=appliance.burners.first(),
        fuel=appliance.fuel,
        read_on=today - timedelta(days=20),
        points="both",
        indicative=True,
        high_excess_air_pct=36.2,
        high_target_excess_air_pct=28.3,
        low_excess_air_pct=44.1,
        low_target_excess_air_pct=34.0,
        lost_pct=kwh / 1_800.0,
        lost_u_pct=abs(kwh) / 7_200.0,
        use_kwh=180_000.0,
        use_source="assumed",
        lost_kwh=kwh,
        lost_low_kwh=low,
        lost_high_kwh=high,
        part_own_kwh=0.1 * abs(kwh),
        part_use_kwh=0.05 * kwh,
        price_per_kwh=0.06,
        currency="GBP",
        **{f"part_{name}_kwh": part for name, part in shared.items()},
    )
    ends = {"cost_kwh": kwh, "cost_low_kwh": low, "cost_high_kwh": high}
    ApplianceDrift.objects.filter(run=run, appliance=appliance).update(**ends)


def ageing_of(run: DriftRun, model: ApplianceModel, age: int) -> None:
    """One line of the models' page."""
    ModelAgeing.objects.create(
        run=run,
        model=model,
        trim="throttle",
        unit="pct_k",
        age_from=age,
        burners=12,
        flagged=1,
        drift=-0.8,
        drift_low=-1.0,
        drift_high=-0.6,
        moved=0.9,
    )
