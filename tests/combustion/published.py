"""The copied reference tables of tests/published, as rows and figures."""

from __future__ import annotations

import csv
import re
from functools import cache
from pathlib import Path

from combustion.fuels import FUELS, Fuel, custom_fuel

FOLDER = Path(__file__).parent.parent / "published"

# The reference tables' own names of their fuels.
TABLE_FUELS: dict[str, Fuel] = {
    "methane": FUELS["methane"],
    "propane": FUELS["propane"],
    "n-butane": FUELS["n_butane"],
    "LPG_60prop_40nbut": FUELS["lpg_mix"],
    "pipeline_NG": FUELS["natural_gas"],
    "NG_80_H2_20": FUELS["natural_gas_h2_20"],
    "CH4_80_H2_20": custom_fuel({"methane": 0.8, "hydrogen": 0.2}),
}


@cache
def table(name: str) -> tuple[dict[str, str], ...]:
    with (FOLDER / f"{name}.csv").open(newline="") as handle:
        return tuple(csv.DictReader(handle))


@cache
def figures(identity: str) -> tuple[float, ...]:
    """All numbers of one row of values.csv: of its value, or of its quantity if that says «as listed»."""
    row = next(r for r in table("values") if r["id"] == identity)
    text = re.sub(r"(?<=\d),(?=\d{3})", "", row["quantity" if row["value"] == "as listed" else "value"])
    return tuple(float(n) for n in re.findall(r"(?<![A-Za-z\d.])\d*\.?\d+(?:e-?\d+)?", text))
