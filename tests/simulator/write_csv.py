"""A simulated fleet as a history file: python -m tests.simulator.write_csv FILE --appliances N --seed S.

The truth goes beside it as FILE.truth.json: which trims wander, and the bias of every analyser period.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from tests.simulator.fleet import Fleet, simulate
from tests.simulator.options import SCENARIOS

FIRST_DAY = date(2012, 1, 1)
SITE_APPLIANCES, CUSTOMER_SITES = 4, 20
MAKERS = ("Corvane", "Ostrell", "Brightholm")
POINTS = ("high", "low")
TRIMS = ("throttle", "offset")
COLUMNS = [
    *("customer", "site", "plant", "appliance", "serial", "maker", "model", "fuel", "input_kw", "turndown"),
    *("control_pressure_pa", "gas_area", "visit", "kind", "observed_at", "technician", "analyser"),
    *("calibrated_on", "firing_point", "phase", "co2_pct", "o2_pct", "co_ppm", "flue_temp_c", "air_temp_c"),
    *("adjusted_trim", "co2_source"),
]


def write_history(fleet: Fleet, path: Path) -> int:
    """Write the fleet's firing tests, each visit's rows together, oldest first. Returns the rows written."""
    written = 0
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, COLUMNS)
        writer.writeheader()
        for visit in np.argsort(fleet.visits.day, kind="stable").tolist():
            rows = list(_rows(fleet, visit))
            writer.writerows(rows)
            written += len(rows)
    return written


def write_truth(fleet: Fleet, path: Path) -> None:
    truth = fleet.truth
    used = np.flatnonzero(truth.tests > 0).tolist()
    appliances = [
        {
            "appliance": tag(appliance),
            "wanders": [name for name, is_so in zip(TRIMS, truth.wanders[appliance], strict=True) if is_so],
            "throttle_drift_pct_a_year": 100.0 * float(truth.drift[appliance, 0]),
            "jump_before_visit": int(truth.jump_visit[appliance]),
        }
        for appliance in range(fleet.options.appliances)
    ]
    periods = [
        {
            "analyser": analyser_name(fleet, period),
            "calibrated_on": calibrated_on(fleet, period).isoformat(),
            "readings": int(truth.tests[period]),
            "bias_co2_pct": float(truth.bias_co2_pct[period]),
        }
        for period in used
    ]
    path.write_text(json.dumps({"appliances": appliances, "periods": periods}, indent=1), encoding="utf-8")


def tag(appliance: int) -> str:
    return f"B{appliance:06d}"


def analyser_name(fleet: Fleet, period: int) -> str:
    return f"Pellar P4 {int(fleet.period_analyser[period]):03d}"


def calibrated_on(fleet: Fleet, period: int) -> date:
    return FIRST_DAY + timedelta(days=int(np.floor(fleet.period_start_day[period])))


def _rows(fleet: Fleet, visit: int) -> Iterator[dict[str, object]]:
    visits = fleet.visits
    midnight = datetime.combine(FIRST_DAY, datetime.min.time(), UTC)
    start = midnight + timedelta(days=int(visits.day[visit]), hours=9)
    period = int(visits.period[visit])
    shared = _place(fleet, int(visits.appliance[visit])) | {
        "gas_area": f"Simulated area {int(visits.area[visit]) + 1}",
        "visit": f"{tag(int(visits.appliance[visit]))} {int(visits.number[visit])}",
        "kind": "annual_service",
        "technician": f"Technician {int(fleet.period_analyser[period]):03d}",
        "analyser": analyser_name(fleet, period),
        "calibrated_on": calibrated_on(fleet, period).isoformat(),
        "air_temp_c": f"{visits.air_temp_c[visit]:.1f}",
        "co2_source": "measured",
    }
    minute = 0
    for phase, values in (("as_found", visits.found_co2_pct[visit]), ("as_left", visits.left_co2_pct[visit])):
        for point, co2_pct in enumerate(values):
            minute += 5
            if np.isnan(co2_pct):
                continue
            moved = phase == "as_left" and visits.adjusted[visit, point]
            yield shared | {
                "observed_at": (start + timedelta(minutes=minute)).isoformat(),
                "firing_point": POINTS[point],
                "phase": phase,
                "co2_pct": f"{co2_pct:.2f}",
                "adjusted_trim": TRIMS[point] if moved else "",
            }


def _place(fleet: Fleet, appliance: int) -> dict[str, object]:
    """Sites hold appliances of one gas area; customers hold neighbouring sites."""
    areas = fleet.options.areas
    area = int(fleet.area[appliance])
    site = area + areas * (appliance // (SITE_APPLIANCES * areas))
    model = int(fleet.model[appliance])
    pressure = fleet.believed_signal_pa[appliance]
    return {
        "customer": f"Simulated customer {site // CUSTOMER_SITES:04d}",
        "site": f"Site {site:05d}",
        "plant": "Boiler room",
        "appliance": tag(appliance),
        "serial": f"S{appliance:07d}",
        "maker": MAKERS[model % len(MAKERS)],
        "model": f"Simulated {model + 1}",
        "fuel": "natural_gas",
        "input_kw": 250 + 50 * model,
        "turndown": f"{fleet.believed_turndown[appliance]:g}",
        "control_pressure_pa": "" if np.isnan(pressure) else f"{pressure:g}",
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("--appliances", type=int, default=1_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--scenario", choices=list(SCENARIOS), default="base")
    args = parser.parse_args()
    fleet = simulate(SCENARIOS[args.scenario].but(appliances=args.appliances), args.seed)
    rows = write_history(fleet, args.file)
    truth = args.file.with_suffix(args.file.suffix + ".truth.json")
    write_truth(fleet, truth)
    print(f"{rows} rows of {args.appliances} appliances in {args.file}; the truth in {truth}")


if __name__ == "__main__":
    main()
