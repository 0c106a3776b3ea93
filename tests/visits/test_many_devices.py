"""Devices that save in any order, repeated and late, end in the same record as once each."""

import copy
import uuid
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase as HypothesisTestCase
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from rest_framework.test import APIClient

from people.services import device_token_issue
from people.throttling import PersonThrottle
from tests.visits.bodies import closed, firing, visit_body
from tests.visits.conftest import all_rows, set_up_scene

DEVICES = (0, 1)
JUDGED = ("results", "findings", "health", "not_put_back", "advice", "closed", "uncountersigned")


def api_of(user):
    _, text = device_token_issue(user=user, name="device")
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {text}")
    return api


def by_key(rows):
    return {row["key"]: row for row in rows}


def record_of(answer):
    """What a visit says, without the order in which rows came in."""
    return {
        **{
            name: answer[name]
            for name in ("kind", "appliance", "opened_at", "closed_at", "outcome")
            if name in answer
        },
        "rows": {
            name: by_key(answer.get(name, [])) for name in ("tests", "adjustments", "temporary_changes")
        },
        "not_put_back": {row["key"] for row in answer["not_put_back"]},
        "results": answer["results"],
        "findings": {(row["code"], row["subject"], row["value"]) for row in answer["findings"]},
        "health": {phase: row["probability"] for phase, row in answer["health"].items()},
    }


class Devices(RuleBasedStateMachine):
    """Two devices of one technician at one visit. Each knows its own rows; a save is its whole knowledge.

    Saves are written into an outbox of the device and delivered in any order, any number of times, or never:
    the last one of each device is delivered at the end.
    """

    @initialize()
    def open(self):
        PersonThrottle.pace.clear()
        self.scene = set_up_scene(api_of)
        self.apis = [self.scene.api, api_of(self.scene.technician)]
        self.known = [[], []]
        self.saves = [[], []]
        self.answers = {}
        self.newest = [0, 0]
        self.count = 0

    def _save(self, device):
        body = visit_body(self.scene.appliance, self.scene.analyser)
        body["tests"] = copy.deepcopy(self.known[device])
        body["save_no"] = len(self.saves[device]) + 1
        self.saves[device].append(body)

    @rule(
        device=st.sampled_from(DEVICES),
        point=st.sampled_from(["high", "low"]),
        co2=st.sampled_from([8.2, 8.8, 9.1, 10.4]),
    )
    def read(self, device, point, co2):
        self.count += 1
        self.known[device].append(
            firing(f"d{device}-{self.count}", point, "working", self.count % 60, co2_pct=co2, o2_pct=None)
        )
        self._save(device)

    @precondition(lambda self: any(self.known))
    @rule(data=st.data(), co2=st.sampled_from([8.5, 9.4]))
    def change_own_row(self, data, co2):
        device = data.draw(st.sampled_from([d for d in DEVICES if self.known[d]]))
        row = data.draw(st.sampled_from(self.known[device]))
        if "readings" in row:
            row["readings"][0]["co2_pct"] = co2
            self._save(device)

    @precondition(lambda self: any(self.known))
    @rule(data=st.data())
    def withdraw_own_row(self, data):
        device = data.draw(st.sampled_from([d for d in DEVICES if self.known[d]]))
        data.draw(st.sampled_from(self.known[device]))["withdrawn_reason"] = "read too early"
        self._save(device)

    @precondition(lambda self: any(self.saves))
    @rule(data=st.data())
    def deliver(self, data):
        device = data.draw(st.sampled_from([d for d in DEVICES if self.saves[d]]))
        self._deliver(device, data.draw(st.sampled_from(self.saves[device])))

    def _deliver(self, device, body):
        number, before = body["save_no"], all_rows()
        answer = self.scene.put(body, api=self.apis[device])
        if number > self.newest[device]:
            assert answer.status_code in (200, 201), answer.content[:300]
            self.newest[device] = number
            self.answers[device, number] = answer.content
            return
        assert answer.status_code == 200
        assert all_rows() == before
        if number == self.newest[device]:
            assert answer.content == self.answers[device, number]

    @precondition(lambda self: any(self.newest))
    @rule(device=st.sampled_from(DEVICES), data=st.data())
    def somebody_elses_row(self, device, data):
        """A row of the other device, told differently, is refused and changes nothing."""
        other = 1 - device
        if not self.newest[other]:
            return
        rows = self.saves[other][self.newest[other] - 1]["tests"]
        row = copy.deepcopy(data.draw(st.sampled_from(rows)))
        row["readings"][0]["co2_pct"] = 7.777
        body = visit_body(self.scene.appliance, self.scene.analyser, save_no=1000, tests=[row])
        before, state = all_rows(), self.scene.get()
        answer = self.scene.put(body, api=self.apis[device])
        assert answer.status_code == 409, answer.content[:300]
        assert answer.json()["code"] == "row_conflict"
        assert all_rows() == before
        assert self.scene.get() == state

    @invariant()
    def number_used_again_is_refused(self):
        if not getattr(self, "newest", None) or not self.newest[0]:
            return
        body = visit_body(self.scene.appliance, self.scene.analyser, notes="other", save_no=self.newest[0])
        answer = self.scene.put(body, api=self.apis[0])
        assert answer.status_code == 409
        assert answer.json()["code"] == "save_no_reused"

    def teardown(self):
        if not any(getattr(self, "saves", [])):
            return
        for device in DEVICES:
            if self.saves[device]:
                self._deliver(device, self.saves[device][-1])
        scrambled = self.scene.get()
        once = str(uuid.uuid4())
        for device in reversed(DEVICES):
            if self.saves[device]:
                assert self.scene.put(
                    self.saves[device][-1], uuid=once, api=self.apis[device]
                ).status_code in (200, 201)
        in_order = self.scene.api.get(f"/api/v1/visits/{once}/").json()
        assert record_of(scrambled) == record_of(in_order)


class TestDevices(Devices.TestCase, HypothesisTestCase):
    settings = settings(
        max_examples=12,
        stateful_step_count=12,
        deadline=timedelta(seconds=30),
        suppress_health_check=[HealthCheck.too_slow],
    )


@pytest.mark.django_db
def test_two_devices_may_each_close_only_once(scene):
    """Whoever closes first closes; the other is told what differs and may send a correction."""
    second = scene.second_device()
    body = visit_body(scene.appliance, scene.analyser)
    scene.put(body)
    assert scene.put(closed({**body, "save_no": 1}), api=second).status_code == 200
    answer = scene.put(closed({**body, "save_no": 2}, closed_at="2026-03-02T11:00:00Z"))
    assert answer.status_code == 409
    assert "/closed_at" in answer.content.decode()
