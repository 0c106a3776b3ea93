"""Requests cut, repeated, doubled and overtaken, the web process killed meanwhile, no Redis anywhere: every
acknowledged save is there, once. STORM_REQUESTS sets how many (2,000 in the full run)."""

import collections
import json
import os
import time
import uuid

import pytest

from people.services import device_token_issue
from tests.factories import AnalyserPeriodFactory, ApplianceFactory, LicenceFactory, PlantFactory
from tests.failures.served import served
from tests.failures.storm import SAVES, Counter, Device, Sending
from tests.visits.conftest import set_up_scene

REQUESTS = int(os.environ.get("STORM_REQUESTS", "80"))
KILLS = 3 if REQUESTS >= 1000 else 1
DEVICES = 4


def devices_of(technician, counter):
    """Four devices of one person, each with the visits of one plant that they all work in."""
    plant = PlantFactory()
    AnalyserPeriodFactory()
    devices = []
    for number in range(DEVICES):
        _, token = device_token_issue(user=technician, name=f"device {number}")
        visits = [
            Sending(str(uuid.uuid4()), ApplianceFactory(plant=plant), day=1 + place % 28)
            for place in range(max(4, REQUESTS // 24))
        ]
        devices.append(Device(token, visits, counter, seed=number))
    return devices


@pytest.mark.django_db(transaction=True)
def test_every_acknowledged_save_is_there_once(api_of, tmp_path):
    set_up_scene(api_of)
    technician = LicenceFactory().technician.user
    counter = Counter(REQUESTS)
    devices = devices_of(technician, counter)
    with served(tmp_path) as server:
        for device in devices:
            device.begin(server.port)
        for kill in range(1, KILLS + 1):
            while counter.sent < REQUESTS * kill / (KILLS + 1):
                assert any(device.is_alive() for device in devices)
                time.sleep(0.002)
            server.kill_web()
            server.start()
        for device in devices:
            device.join(600)
            assert device.failed is None, device.failed
        check(server, [visit for device in devices for visit in device.visits], counter)


def check(server, visits, counter):
    print(json.dumps({"requests": counter.sent, "ways": counter.ways, "kills": KILLS}))
    acknowledged = [visit for visit in visits if visit.acknowledged]
    assert counter.sent >= REQUESTS
    assert len(acknowledged) >= len(visits) // 4
    # Another device's rows are never in the way here, so nothing but the order of closing is refused.
    assert {status for status, _ in counter.refused} <= {409}, counter.refused[:3]
    assert {body.get("code") or body["problem"]["code"] for _, body in counter.refused} <= {"visit_closed"}

    stored = dict(server.rows("SELECT lower(replace(CAST(uuid AS text), '-', '')), id FROM visits_visit"))
    tests = collections.defaultdict(list)
    for visit_id, key, co_ppm in server.rows("SELECT visit_id, key, co_ppm FROM visits_firingtest"):
        tests[visit_id].append((key, co_ppm))
    records = collections.Counter(row[0] for row in server.rows("SELECT visit_id FROM visits_visitrecord"))
    closings = collections.Counter(
        row[0] for row in server.rows("SELECT subject_id FROM common_outboxevent WHERE kind = 'visit.closed'")
    )
    closed_ids = {row[0] for row in server.rows("SELECT id FROM visits_visit WHERE closed_at IS NOT NULL")}
    for visit in visits:
        row = stored.get(uuid.UUID(visit.uuid).hex)
        latest = max(visit.acknowledged, default=0)
        if row is None:
            assert latest == 0, "an acknowledged visit is gone"
            continue
        held = len(tests[row])
        assert latest <= held <= SAVES, (latest, held)
        # Whole or not at all: exactly what one save said.
        assert sorted(tests[row]) == [(f"t{number}", float(number)) for number in range(1, held + 1)]
        assert records[row] == 1
        assert (row in closed_ids) == (held == SAVES)
        assert closings[row] == (1 if held == SAVES else 0)
    days = server.rows(
        "SELECT plant_id, technician_id, local_on, count(*) FROM visits_attendance GROUP BY 1, 2, 3"
    )
    assert {count for *_, count in days} == {1}
