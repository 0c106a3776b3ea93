"""History files for tests: one row as a person would write it, changed cell by cell."""

import csv
import random
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROW: dict[str, str] = {
    "customer": "Aldermere Baths",
    "site": "Mill Lane",
    "plant": "Boiler room",
    "appliance": "B1",
    "serial": "CX-0001",
    "maker": "Corvane",
    "model": "CX100",
    "fuel": "natural_gas",
    "input_kw": "100",
    "turndown": "5",
    "control_pressure_pa": "700",
    "gas_area": "Aldermere north",
    "visit": "job 1",
    "kind": "annual_service",
    "observed_at": "2024-03-05T09:10:00+00:00",
    "technician": "Ada Fenwick",
    "analyser": "P4-01",
    "calibrated_on": "2024-01-15",
    "firing_point": "high",
    "phase": "as_found",
    "co2_pct": "9.0",
    "o2_pct": "4.9",
    "co_ppm": "35",
    "flue_temp_c": "58.5",
    "air_temp_c": "14",
    "adjusted_trim": "",
}


def row(**cells: object) -> dict[str, str]:
    """A row with some cells changed or added."""
    return ROW | {name: str(value) for name, value in cells.items()}


def visit_of(visit: str, day: str = "2024-03-05", **cells: object) -> list[dict[str, str]]:
    """The four rows of a visit that moved the throttle: both points as found, then as left."""
    steps = [
        ("as_found", "high", "09:10", "9.4", ""),
        ("as_found", "low", "09:15", "8.9", ""),
        ("as_left", "high", "10:20", "9.0", "throttle"),
        ("as_left", "low", "10:25", "8.6", "throttle"),
    ]
    return [
        row(
            visit=visit,
            phase=phase,
            firing_point=point,
            observed_at=f"{day}T{time}:00+00:00",
            co2_pct=co2,
            adjusted_trim=trim,
        )
        | {name: str(value) for name, value in cells.items()}
        for phase, point, time, co2, trim in steps
    ]


def write(path: Path, rows: Iterable[Mapping[str, str]], header: Sequence[str] | None = None) -> Path:
    """Write rows under a header: the columns of all rows unless given."""
    rows = list(rows)
    names = header or list(dict.fromkeys(name for cells in [ROW, *rows] for name in cells))
    with path.open("w", encoding="utf-8", newline="") as file:
        sheet = csv.DictWriter(file, names, restval="")
        sheet.writeheader()
        sheet.writerows(rows)
    return path


def invented_fleet(visits: int, appliances: int, seed: int = 7) -> Iterator[dict[str, str]]:
    """Rows of an invented fleet's history, ordered by time: four tests a visit, a trim moved in a third."""
    dice = random.Random(seed)
    begin = datetime(2016, 1, 4, 8, tzinfo=UTC)
    for count in range(visits):
        unit = count % appliances
        at = begin + timedelta(days=365 * (count // appliances), minutes=37 * unit)
        moved = dice.random() < 1 / 3
        for test in range(4):
            phase, point = ("as_found", "as_left")[test // 2], ("high", "low")[test % 2]
            yield row(
                customer=f"Customer {unit // 20}",
                site=f"Site {unit // 10}",
                plant=f"Plant {unit // 5}",
                appliance=f"B{unit}",
                serial=f"S{unit:06}",
                model=f"CX{unit % 12}",
                gas_area=f"Area {unit // 200}",
                visit=f"V{count}",
                observed_at=(at + timedelta(minutes=5 * test)).isoformat(),
                technician=f"Technician {unit // 5 % 25}",
                analyser=f"P4-{unit // 5 % 25:02}",
                calibrated_on=f"{at.year}-01-01",
                firing_point=point,
                phase=phase,
                co2_pct=f"{dice.gauss(9.0 - 0.4 * (test % 2), 0.15):.2f}",
                o2_pct=f"{dice.gauss(4.9 + 0.7 * (test % 2), 0.2):.2f}",
                co_ppm=f"{dice.gauss(40, 8):.0f}",
                flue_temp_c=f"{dice.gauss(58, 3):.1f}",
                air_temp_c=f"{dice.gauss(15, 4):.1f}",
                adjusted_trim="throttle" if moved and phase == "as_left" else "",
            )
