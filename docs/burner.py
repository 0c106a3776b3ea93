"""An invented burner that has drifted rich, and an analyser that follows it: a log to play a visit with.

python3 docs/burner.py high                  # as found at high fire, three minutes
python3 docs/burner.py low --turns -0.25     # low fire after the throttle went a quarter turn anticlockwise

The same every time it is asked. Nothing in it is a real appliance, and nothing real behaves just so.
"""

import argparse
import csv
import random
import sys
from math import exp

CO2_PCT = {"high": 9.75, "low": 9.25}  # as it has drifted, dry
LN_PER_TURN = 0.065  # gas to air by a turn clockwise; the model's other burners say a little less
SENSOR_S = 8.0
AIR_O2_PCT, MOST_CO2_PCT = 20.91, 11.845  # the line of pipeline gas, within 0.01 % O2 from 8 to 10 % CO2
COLUMNS = {
    "co2_pct": "CO2 %",
    "o2_pct": "O2 %",
    "co_ppm": "CO ppm",
    "flue_temp_c": "Flue temp °C",
    "air_temp_c": "Air temp °C",
    "inlet_pressure_mbar": "Gas pressure mbar",
    "fan_rpm": "Fan rpm",
}


def true_co2_pct(point: str, turns: float = 0.0) -> float:
    """What stands in the flue: the throttle has gone so many turns clockwise since the burner was found."""
    share = CO2_PCT[point] / 100.0
    gas = share / (1.0 + share) * exp(LN_PER_TURN * turns)
    return 100.0 * gas / (1.0 - gas)


def reading(point: str, second: float, turns: float = 0.0) -> dict[str, float]:
    """What the analyser shows so many seconds after the probe was put in."""
    fading, high = exp(-second / SENSOR_S), point == "high"
    noise = random.Random(f"{point} {second:g} {turns:g}").gauss(0.0, 0.002)  # noqa: S311 the same every time
    co2_pct = true_co2_pct(point, turns)
    o2_pct = AIR_O2_PCT * (1.0 - co2_pct / MOST_CO2_PCT)
    return {
        "co2_pct": round(co2_pct * (1.0 - fading) + noise, 2),
        "o2_pct": round(o2_pct + (AIR_O2_PCT - o2_pct) * fading - 1.8 * noise, 2),
        "co_ppm": round((46 if high else 21) * (1.0 - fading)),
        "flue_temp_c": round((61.0 if high else 46.0) - 8.0 * fading, 1),
        "air_temp_c": 17.0,
        "inlet_pressure_mbar": 20.3 if high else 20.8,
        "fan_rpm": 5850 if high else 1300,
    }


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("point", choices=CO2_PCT)
    asked.add_argument("--turns", type=float, default=0.0, help="of the throttle so far, clockwise")
    asked.add_argument("--seconds", type=int, default=180)
    asked.add_argument("--every", type=int, default=5)
    told = asked.parse_args()
    rows: list[list[object]] = [["Seconds", *COLUMNS.values()]]
    for second in range(0, told.seconds + 1, told.every):
        rows.append([second, *reading(told.point, second, told.turns).values()])
    csv.writer(sys.stdout, lineterminator="\n").writerows(rows)
