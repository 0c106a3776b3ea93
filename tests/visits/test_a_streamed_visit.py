"""One whole visit as a client streams it, from arrival to close, by what `now/` says.

The burner is the physical relation (phi = K sqrt(1 + w / r^2), K moved by the throttle), the analyser
follows it with a delay. The client knows nothing of either: it reads, waits while it is told to wait, turns
what it is told to turn, and puts back what it changed.
"""

from datetime import UTC, datetime, timedelta
from math import exp

import pytest

from combustion.balance import co2_from_phi, o2_from_phi, phi_from_co2
from combustion.fuels import FUELS
from fleet.models import ModelTrim, TurnSensitivity
from tests.visits.bodies import codes
from tests.visits.test_now import now

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
GAS = FUELS["natural_gas"]
EVERY_S, DELAY_S, SENT_EVERY = 5, 9.0, 6
LN_K_PER_TURN = -0.12  # true of this burner; the model's row says a little less
TURNDOWN = 5.0


class Burner:
    """The truth: what the probe would show at each point once the analyser has followed."""

    def __init__(self, high_co2_pct: float, low_co2_pct: float) -> None:
        self.phi = {"high": phi(high_co2_pct), "low": phi(low_co2_pct)}

    def turn_throttle(self, turns_clockwise: float) -> None:
        change = exp(LN_K_PER_TURN * turns_clockwise)
        self.phi = {point: value * change for point, value in self.phi.items()}

    def co2(self, point: str) -> float:
        return float(co2_from_phi(self.phi[point], GAS))

    def o2(self, point: str) -> float:
        return float(o2_from_phi(self.phi[point], GAS))


def phi(co2_pct: float) -> float:
    return float(phi_from_co2(co2_pct, GAS)[0])


class Client:
    """A device that streams: each save is the whole visit as it knows it."""

    def __init__(self, scene, burner: Burner) -> None:
        self.scene, self.burner, self.at, self.save_no = scene, burner, START, 0
        self.tests, self.moves, self.changes = [], [], []
        self.seen, self.waits = [], 0

    def save(self, **members):
        self.save_no += 1
        body = {
            "save_no": self.save_no,
            "appliance": str(self.scene.appliance.uuid),
            "analyser": str(self.scene.analyser.uuid),
            "kind": "annual_service",
            "opened_at": START.isoformat(),
            "tests": self.tests,
            "adjustments": self.moves,
            "temporary_changes": self.changes,
            **members,
        }
        answer = self.scene.put(body)
        assert answer.status_code in (200, 201), answer.content[:400]
        return answer.json()

    def stream(self, point: str, phase: str):
        """Read a point until `now/` calls it settled; returns what it then says."""
        self.at += timedelta(minutes=2)
        number = len(self.tests) + 1
        row = {
            "key": f"t{number}", "point": point, "phase": phase, "sequence": number, "readings": []
        }  # fmt: skip
        self.tests.append(row)
        began = self.at
        for count in range(1, 61):
            fading = exp(-(self.at - began).total_seconds() / DELAY_S)
            o2 = self.burner.o2(point)
            row["readings"].append(
                {
                    "at": self.at.isoformat(),
                    "co2_pct": round(self.burner.co2(point) * (1 - fading), 2),
                    "o2_pct": round(o2 + (20.9 - o2) * fading, 2),
                    "co_ppm": 24,
                    "flue_temp_c": 58.0,
                    "air_temp_c": 18.0,
                    "inlet_pressure_mbar": 20.5,
                }
            )
            self.at += timedelta(seconds=EVERY_S)
            if count % SENT_EVERY:
                continue
            self.save()
            told = now(self.scene)
            if told["settled"]:
                return told
            assert told["step"]["code"] == "wait"
            self.waits += 1
        raise AssertionError("it never settled")

    def follow(self, told) -> None:
        """Turn what the advice says, as far as it says."""
        advice = told["advice"][0]
        assert advice["code"] == "move_trim"
        assert advice["amount"] <= advice["step_limit"]
        self.at += timedelta(seconds=30)
        sign = 1.0 if advice["turn"] == "clockwise" else -1.0
        self.burner.turn_throttle(sign * advice["amount"])
        self.moves.append(
            {
                "key": f"a{len(self.moves) + 1}",
                "trim": advice["trim"],
                "at": self.at.isoformat(),
                "direction": advice["turn"],
                "turns": advice["amount"],
                "before_test": self.tests[0]["key"],
            }
        )
        self.save()


@pytest.fixture
def burner(scene) -> Burner:
    """Drifted rich at both points; what a turn does is learnt of the model; this one differs a little."""
    ModelTrim.objects.filter(kind="throttle").update(max_step_turns=1.0)
    TurnSensitivity.objects.create(
        trim=ModelTrim.objects.get(kind="throttle"),
        unit="turn",
        effect=-0.11,
        effect_low=-0.118,
        effect_high=-0.102,
        effect_u=0.004,
        spread=0.01,
        scatter=0.004,
        moves=40,
        burners=20,
        set_aside=0,
        learnt_at=START,
    )
    scene.appliance.model.turndown = TURNDOWN
    scene.appliance.model.save()
    return Burner(10.2, 9.9)


def test_a_drifting_burner_is_led_from_arrival_to_close(scene, burner):
    client = Client(scene, burner)
    client.changes = [
        {
            "key": "c",
            "what": "Sequencer",
            "was": "automatic",
            "set_to": "manual",
            "changed_at": START.isoformat(),
        }
    ]
    client.save()
    assert now(scene)["step"]["code"] == "as_found"
    for _round in range(20):
        told = now(scene)
        step = told["step"]
        client.seen.append((step["code"], step["point"]))
        if step["code"] in ("as_found", "as_left"):
            told = client.stream(step["point"], step["code"])
            assert told["reading"]["co2_pct"] == pytest.approx(burner.co2(step["point"]), abs=0.05)
        elif step["code"] == "adjust":
            client.follow(told)
        elif step["code"] == "put_back":
            client.at += timedelta(minutes=1)
            client.changes = [{**row, "put_back_at": client.at.isoformat()} for row in client.changes]
            client.save()
        else:
            break
    assert client.seen == [
        ("as_found", "high"), ("as_found", "low"), ("adjust", None), ("as_left", "high"), ("as_left", "low"),
        ("as_left", "high"), ("put_back", None), ("close", None),
    ]  # fmt: skip
    assert client.waits >= 5
    # One advised move brought high fire to the middle of its target.
    assert burner.co2("high") == pytest.approx(9.0, abs=0.15)
    client.at += timedelta(minutes=5)
    answer = client.save(closed_at=client.at.isoformat(), outcome="completed")
    assert answer["closed"]
    assert answer["not_put_back"] == []
    assert answer["health"]["as_found"]["probability"] < 0.05
    assert answer["health"]["as_left"]["probability"] > 0.95
    unwanted = {"not_settled", "moved_too_soon", "moved_after_as_left", "as_left_missing", "probe_out"}
    assert not unwanted & codes(answer)
    assert now(scene)["step"]["code"] == "closed"
