"""What a column holds: guessed from its name, for the person to put right."""

import re
from collections.abc import Mapping, Sequence

from visits.analyser_log.table import Table
from visits.measured import MEASURED_FIELDS

TIME, SECONDS = "time", "seconds"
UNITS: Mapping[str, Mapping[str, tuple[float, float]]] = {
    **{name: {"vol %": (1.0, 0.0)} for name in ("co2_pct", "o2_pct")},
    **{name: {"ppm": (1.0, 0.0), "vol %": (1e4, 0.0)} for name in ("co_ppm", "nox_ppm", "ambient_co_ppm")},
    **{
        name: {"°C": (1.0, 0.0), "°F": (1 / 1.8, -32 / 1.8)}
        for name in ("flue_temp_c", "air_temp_c", "flow_temp_c", "return_temp_c")
    },
    "inlet_pressure_mbar": {
        "mbar": (1.0, 0.0), "Pa": (0.01, 0.0), "kPa": (10.0, 0.0), "in WC": (2.490889, 0.0),
    },
    "gas_rate_m3_h": {"m³/h": (1.0, 0.0), "ft³/h": (0.02831685, 0.0)},
    "flame_signal_ua": {"µA": (1.0, 0.0)},
    "fan_rpm": {"1/min": (1.0, 0.0)},
}  # fmt: skip
"""Units a column may be in, with factor and offset to the stored one. 1 in WC is 249.0889 Pa, 1 ft³ is
0.02831685 m³: NIST SP 811 (2008), appendix B.8, from memory."""

_UNIT_WORDS: Mapping[str, str] = {
    "vol %": r"%|pct|percent", "ppm": r"ppm", "°C": r"°\s*c|deg\s*c|\bc\b", "°F": r"°\s*f|deg\s*f|\bf\b",
    "mbar": r"mbar|hpa", "kPa": r"kpa", "Pa": r"\bpa\b", "in WC": r"in\.?\s*w|inh2o|\"\s*w",
    "m³/h": r"m[3³]\s*/?\s*h", "ft³/h": r"ft[3³]|cfh", "µA": r"[µu]a\b", "1/min": r"rpm|/\s*min|min-1",
}  # fmt: skip
_NAMES: Sequence[tuple[str, str]] = (
    ("ambient_co_ppm", r"(room|ambient|amb).*\bco\b|\bco\b.*(room|ambient|amb)"),
    ("co2_pct", r"\bco2\b|co₂|carbon dioxide"),
    ("o2_pct", r"\bo2\b|o₂|oxygen"),
    ("co_ppm", r"\bco\b|carbon monoxide"),
    ("nox_ppm", r"\bnox\b"),
    ("fan_rpm", r"\bfan\b|\brpm\b"),
    ("flame_signal_ua", r"flame|ioni[sz]ation"),
    ("gas_rate_m3_h", r"gas (rate|flow)|flow rate|\bm3 ?/? ?h\b"),
    ("inlet_pressure_mbar", r"pressure"),
    ("return_temp_c", r"return"),
    ("flow_temp_c", r"\bflow\b|supply"),
    ("flue_temp_c", r"flue|stack|exhaust|gas temp"),
    ("air_temp_c", r"\bair\b|intake|inlet|ambient"),
)
# Worked out from the others, or held against another oxygen: no reading of its own.
_WORKED_OUT = re.compile(r"free|undilut|corrected|\bref|ratio|/ ?co2|excess|lambda|loss|eff|dew|max")
_CLOCK = re.compile(r"\d?\d:\d\d")
_UNKNOWN_UNIT = re.compile(r"[\[(]\s*(?!dry|wet)[^\])\s]")


def choice_of(quantity: str, unit: str) -> str:
    """How a column's choice is written: the quantity and the unit it is in."""
    return f"{quantity}|{unit}"


def choice_read(choice: str) -> tuple[str, float, float]:
    """A choice as quantity, factor and offset to the stored unit. KeyError where there is no such choice."""
    quantity, _bar, unit = choice.partition("|")
    factor, offset = UNITS[quantity][unit]
    return quantity, factor, offset


def columns_guess(table: Table) -> list[str]:
    """For each column what it seems to hold: `time`, `seconds`, a quantity with its unit, or nothing ("").

    Each thing once, the first column that fits; a unit that is not known leaves its column to the person.
    """
    guessed: list[str] = []
    taken: set[str] = set()
    for name, cell in table.examples:
        choice = _guess(name, cell)
        what = "time" if choice in (TIME, SECONDS) else choice.split("|")[0]
        guessed.append("" if what in taken else choice)
        taken.add(what)
    return guessed


def _guess(name: str, cell: str) -> str:
    plain = " ".join(re.sub(r"[_\s]+", " ", name.casefold()).split())
    if _CLOCK.search(cell):
        return TIME
    if re.search(r"\btime\b|\bseconds?\b|\bsec\b|elapsed|^s$|^t$", plain):
        return SECONDS
    own = next((field for field in MEASURED_FIELDS if field == name.casefold()), None)
    if own is not None:
        return choice_of(own, next(iter(UNITS[own])))
    if _WORKED_OUT.search(plain):
        return ""
    quantity = next((field for field, words in _NAMES if re.search(words, plain)), None)
    return _with_unit(quantity, plain) if quantity else ""


def _with_unit(quantity: str, plain: str) -> str:
    units = UNITS[quantity]
    told = next((unit for unit in units if re.search(_UNIT_WORDS[unit], plain)), None)
    if told is None and _UNKNOWN_UNIT.search(plain):
        return ""
    return choice_of(quantity, told or next(iter(units)))
