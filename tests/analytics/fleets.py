"""Simulated fleets as history files, and in the database through the import."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from tests.history.files import row, write
from tests.simulator.fleet import Fleet, simulate
from tests.simulator.options import Options
from visits.history.services import history_import

ORIGIN = datetime(2012, 1, 2, 8, tzinfo=UTC)
SMALL = Options(appliances=24, visits=5, analysers=4, areas=2, models=2, acceptance_co2_pct=0.25)
SLOTS = (("as_found", "high"), ("as_found", "low"), ("as_left", "high"), ("as_left", "low"))


def file_rows(fleet: Fleet) -> Iterator[dict[str, str]]:
    """One row per firing test, visit after visit, as a firm would have written them down."""
    v = fleet.visits
    for place in np.argsort(v.day, kind="stable").tolist():
        unit, period = int(v.appliance[place]), int(v.period[place])
        at = ORIGIN + timedelta(days=float(v.day[place]))
        began = ORIGIN + timedelta(days=float(fleet.period_start_day[period]))
        values = [*v.found_co2_pct[place], *v.left_co2_pct[place]]
        moved = "/".join(t for t, hit in zip(("throttle", "offset"), v.adjusted[place], strict=True) if hit)
        for number, ((phase, point), co2) in enumerate(zip(SLOTS, values, strict=True)):
            if np.isnan(co2):
                continue
            yield row(
                customer=f"Firm {unit // 10}",
                site=f"Site {unit // 5} of area {v.area[place]}",
                plant="Boiler room",
                appliance=f"B{unit}",
                serial=f"S{unit}",
                model=f"CX{fleet.model[unit]}",
                turndown=f"{fleet.believed_turndown[unit]:g}",
                control_pressure_pa=f"{fleet.believed_signal_pa[unit]:g}",
                gas_area=f"Area {v.area[place]}",
                visit=f"V{place}",
                observed_at=(at + timedelta(minutes=5 * number)).isoformat(),
                technician=f"Technician {unit % 3}",
                analyser=f"P4-{fleet.period_analyser[period]:02}",
                calibrated_on=began.date().isoformat(),
                phase=phase,
                firing_point=point,
                co2_pct=f"{co2:.2f}",
                o2_pct="",
                co2_source="measured",
                air_temp_c=f"{v.air_temp_c[place]:.1f}",
                adjusted_trim=(("both" if "/" in moved else moved) if phase == "as_left" else ""),
            )


def file_of(fleet: Fleet, path: Path) -> Path:
    """The history file."""
    return write(path, file_rows(fleet))


def imported(path: Path, options: Options = SMALL, seed: int = 1) -> Fleet:
    """A simulated fleet, imported from a history file under `path`."""
    fleet = simulate(options, seed)
    outcome = history_import(path=file_of(fleet, path / "history.csv"))
    assert not outcome.refused, outcome.faults
    return fleet
