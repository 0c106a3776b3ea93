"""The visit that is open when the demo is first looked at: both points read as found, a move advised."""

import json
import random
import uuid
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from math import exp
from typing import Any

from django.utils import timezone

from combustion.balance import o2_from_co2
from combustion.fuels import FUELS, Fuel
from fleet.models import Appliance, FiringSpec, FuelSlug, ModelTrim, Point, TrimKind
from people.models import User
from visits.models import Attendance, Kind, Visit
from visits.putting_back import suggestions
from visits.services import Sender, visit_save

_EVERY_S, _FOR_S, _DELAY_S = 5, 240, 12.0
_ABOVE_PCT = {Point.HIGH: 0.2, Point.LOW: -0.1}  # over the acceptance band at high fire, just within at low
_SEEN = ("personal_co_alarm", "smell_of_gas", "flue_and_ventilation", "settings_recorded")
_AIR_O2_PCT = 20.9

Bands = dict[str, FiringSpec]


def visit_begin(*, technician: User, on: date, seed: int) -> uuid.UUID | None:
    """Begin the day's first fitting visit as the technician's browser would. None where none fits."""
    stops = Attendance.objects.filter(technician=technician, local_on=on).select_related("plant")
    for stop in stops.order_by("planned_start_at", "pk"):
        rows = (
            Appliance.objects.in_use()
            .filter(plant=stop.plant, fuel=FuelSlug.NATURAL_GAS)
            .with_place()
            .order_by("tag")
        )
        for appliance in rows:
            bands = _bands(appliance)
            if bands:
                return _begin(technician, stop, appliance, bands, seed)
    return None


def _bands(appliance: Appliance) -> Bands:
    """Specs of both points; none where a technician could not be told how far to move the throttle."""
    throttle = ModelTrim.objects.filter(
        model=appliance.model,
        kind=TrimKind.THROTTLE,
        mover=ModelTrim.Mover.FIELD,
        sensitivity__isnull=False,
    )
    rows = appliance.model.firing_specs.filter(fuel=appliance.fuel, accept_high_co2_pct__isnull=False)
    specs = {row.point: row for row in rows if row.point in (Point.HIGH, Point.LOW)}
    fits = len(specs) == len(_ABOVE_PCT) and appliance.burners.count() == 1 and throttle.exists()
    return specs if fits else {}


def _begin(technician: User, stop: Attendance, appliance: Appliance, bands: Bands, seed: int) -> uuid.UUID:
    draw = random.Random(f"begun {seed}")  # noqa: S311  the demo must be the same for the same seed
    visit_uuid = uuid.UUID(int=draw.getrandbits(128), version=4)
    earlier = Visit.objects.filter(technician=technician, analyser__isnull=False).latest("opened_at")
    # Looked at before its hour, the demo must not hold readings of a later one.
    begun = min(stop.planned_start_at or timezone.now(), timezone.now() - timedelta(minutes=30))
    minutes = {Point.HIGH: 12, Point.LOW: 18}
    changes = [
        {name: row[name] or None for name in ("key", "what", "was", "set_to")}
        | {"changed_at": _at(begun, 8), "was": row["was"] or "as the sequencer had it"}
        for row in suggestions(appliance, stop.local_on)[:2]
    ]
    body = {
        "save_no": 1,
        "appliance": str(appliance.uuid),
        "attendance": str(stop.uuid),
        "kind": Kind.ANNUAL_SERVICE,
        "analyser": str(earlier.analyser.uuid) if earlier.analyser else None,
        "opened_at": begun.isoformat(),
        "tests": [
            {
                "key": f"b1-as_found-{point}",
                "burner": 1,
                "point": point,
                "phase": "as_found",
                "sequence": minutes[point],
                "readings": list(
                    _stream(draw, appliance, bands[point], begun + timedelta(minutes=minutes[point]))
                ),
            }
            for point in (Point.HIGH, Point.LOW)
        ],
        "items": [{"key": code, "code": code, "state": "done", "at": _at(begun, 4)} for code in _SEEN],
        "temporary_changes": changes,
    }
    sender = Sender(technician, f"u{technician.pk}")
    visit_save(sender=sender, visit_uuid=visit_uuid, raw=json.dumps(body).encode())
    return visit_uuid


def _stream(
    draw: random.Random, appliance: Appliance, band: FiringSpec, begins: datetime
) -> Iterator[dict[str, Any]]:
    """Readings as an analyser gives them: the probe is put in, the cells follow, the value stands."""
    fuel: Fuel = FUELS[appliance.fuel]
    co2 = (band.accept_high_co2_pct or 0.0) + _ABOVE_PCT[Point(band.point)]
    o2, high = float(o2_from_co2(co2, fuel)), band.point == Point.HIGH
    rpm = appliance.model.fan_high_rpm if high else appliance.model.fan_low_rpm
    for second in range(0, _FOR_S + 1, _EVERY_S):
        fading = exp(-second / _DELAY_S)
        reading = {
            "at": (begins + timedelta(seconds=second)).isoformat(),
            "co2_pct": round(co2 * (1.0 - fading) + draw.gauss(0.0, 0.004), 2),
            "o2_pct": round(o2 + (_AIR_O2_PCT - o2) * fading + draw.gauss(0.0, 0.004), 2),
            "co_ppm": round((72.0 if high else 41.0) * (1.0 - fading)),
            "flue_temp_c": round(61.0 if high else 46.0 - 8.0 * fading, 1),
            "air_temp_c": 17.0,
            "flow_temp_c": 68.0 if high else 64.0,
            "return_temp_c": 52.0 if high else 55.0,
            "inlet_pressure_mbar": 20.3 if high else 20.8,
            "fan_rpm": rpm,
        }
        yield {name: value for name, value in reading.items() if value is not None}


def _at(begun: datetime, minutes: int) -> str:
    return (begun + timedelta(minutes=minutes)).isoformat()
