"""From recorded visits to the model's row: through the outbox and the tick, twice, late, and taken back."""

import itertools
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from django.utils import timezone

from analytics.learning import turns_learn
from analytics.models import TurnDuty
from analytics.reading.moves import moves_read
from common import outbox, ticking
from fleet.models import ModelTrim, TurnSensitivity
from tests.factories import ApplianceFactory, FiringTestFactory, ModelFactory, ModelTrimFactory, VisitFactory
from tests.simulator.physics import co2_pct_of_ln_phi, ln_phi_of_co2_pct, ln_point_factor
from visits.models import Adjustment, FiringTest

OPENED = datetime(2026, 3, 2, 9, tzinfo=UTC)
PER_TURN = {"throttle": -0.2, "offset": 0.02}
M = 5.0


@pytest.fixture
def model(db):
    model = ModelFactory(turndown=M)
    ModelTrimFactory(model=model, kind="throttle", lowers_co2="clockwise")
    ModelTrimFactory(model=model, kind="offset", lowers_co2="anticlockwise")
    return model


def serviced(model, amounts, *, rng, order=("throttle", "offset"), **more):
    """A closed visit: both points read, the named trims moved by these amounts, both points read again."""
    closed_at = OPENED + timedelta(hours=2)
    visit = VisitFactory(appliance=ApplianceFactory(model=model), closed_at=closed_at, outcome="completed")
    ln_k, w = float(ln_phi_of_co2_pct(np.asarray(9.3))), -0.0015
    sequence = itertools.count(1)

    def read(phase, minute):
        for point, rate in (("high", 1.0), ("low", 1.0 / M)):
            co2 = float(co2_pct_of_ln_phi(np.asarray(ln_k + ln_point_factor(np.asarray(w), rate))))
            FiringTestFactory(
                visit=visit,
                key=f"{phase}-{point}",
                point=point,
                phase=phase,
                sequence=next(sequence),
                observed_at=OPENED + timedelta(minutes=minute + (point == "low")),
                settled=FiringTest.Settled.STATED,
                co2_pct=round(co2 + 0.03 * rng.standard_normal(), 2),
                co2_source="measured",
            )

    read("as_found", 10)
    for minute, trim in zip((20, 25), order, strict=False):
        amount = amounts[trim]
        if not amount:
            continue
        if trim == "throttle":
            ln_k += PER_TURN[trim] * amount
        else:
            w += PER_TURN[trim] * amount
        row = {
            "direction": "clockwise" if amount > 0 else "anticlockwise",
            "turns": abs(amount),
            "before_test": f"as_found-{'high' if trim == 'throttle' else 'low'}",
            "after_test": f"as_left-{'high' if trim == 'throttle' else 'low'}",
            **more,
        }
        Adjustment.objects.create(
            visit=visit,
            key=trim,
            burner=visit.appliance.burners.get(),
            trim=trim,
            at=OPENED + timedelta(minutes=minute),
            **row,
        )
    read("as_left", 40)
    return visit


def both(rng):
    return {"throttle": rng.uniform(0.1, 0.3), "offset": -rng.uniform(0.1, 0.3)}


def told(visit, kind="visit.closed"):
    outbox.announce(kind, visit.pk, appliance=visit.appliance_id)


def test_moves_of_closed_visits_become_the_models_rows(model):
    """Both trims moved between the same readings: each one's share is told by the other firing point."""
    rng = np.random.default_rng(1)
    visits = [serviced(model, both(rng), rng=rng) for _ in range(12)]
    for visit in visits:
        told(visit)
    ticking.tick(timezone.now())
    rows = {row.trim.kind: row for row in TurnSensitivity.objects.select_related("trim")}
    assert set(rows) == {"throttle", "offset"}
    for kind, row in rows.items():
        assert (row.moves, row.burners, row.unit, row.why_way_only) == (12, 12, "turn", "")
        assert row.effect == pytest.approx(PER_TURN[kind], rel=0.12)
        assert row.effect_low < PER_TURN[kind] < row.effect_high
    duty = TurnDuty.objects.get()
    assert (duty.asked, duty.answered) == (12, 12)
    learnt_at = rows["throttle"].learnt_at
    ticking.tick(timezone.now())
    assert TurnSensitivity.objects.get(trim__kind="throttle").learnt_at == learnt_at


def test_learning_again_comes_to_the_same_and_a_withdrawn_move_is_forgotten(model):
    rng = np.random.default_rng(2)
    visit = serviced(model, both(rng), rng=rng)
    turns_learn([model.pk], now=timezone.now())
    first = TurnSensitivity.objects.get(trim__kind="throttle").effect
    turns_learn([model.pk], now=timezone.now())
    assert TurnSensitivity.objects.get(trim__kind="throttle").effect == first
    visit.adjustments.update(withdrawn_reason="other boiler")
    told(visit, "visit.corrected")
    ticking.tick(timezone.now())
    assert not TurnSensitivity.objects.exists()


@pytest.mark.parametrize(
    "odd",
    [
        {"direction": ""},
        {"direction": "leftish"},
        {"turns": None},
        {"turns": -0.25},
        {"turns": 0.0},
        {"trim": "bleed screw"},
        {"before_test": "as_found-low"},
        {"withdrawn_reason": "typed twice"},
    ],
)
def test_move_that_says_too_little_teaches_nothing(model, odd):
    rng = np.random.default_rng(3)
    visit = serviced(model, {"throttle": 0.2, "offset": 0.0}, rng=rng)
    visit.adjustments.update(**odd)
    if "before_test" in odd:
        visit.adjustments.update(at=None)
    assert moves_read(model.pk) == {}


def test_unsettled_implausible_and_open_visits_teach_nothing(model):
    rng = np.random.default_rng(4)
    for field, value in (("settled", "not_settled"), ("kept_out", "co2_above_max")):
        visit = serviced(model, {"throttle": 0.2, "offset": 0.0}, rng=rng)
        visit.firingtests.filter(key="as_left-high").update(**{field: value})
    visit = serviced(model, {"throttle": 0.2, "offset": 0.0}, rng=rng)
    visit.closed_at, visit.outcome = None, ""
    visit.save()
    assert moves_read(model.pk) == {}


def test_marks_are_learnt_as_marks_and_tests_found_by_the_clock(model):
    rng = np.random.default_rng(5)
    more = {"turns": None, "marks": 3.0, "before_test": "", "after_test": ""}
    serviced(model, {"throttle": 0.3, "offset": 0.0}, rng=rng, **more)
    (key,) = moves = moves_read(model.pk)
    assert key == ("throttle", "mark")
    assert moves[key].amount.tolist() == [3.0]
    assert moves[key].change[0] == pytest.approx(-0.06, abs=0.012)


def test_number_of_queries_does_not_grow_with_the_moves(model, django_assert_num_queries):
    """Read: moves; tests; how burners are found. Analysers would be one more, and none is named here."""
    rng = np.random.default_rng(6)
    for more in (1, 4):
        for _ in range(more):
            serviced(model, both(rng), rng=rng)
        with django_assert_num_queries(3):
            moves_read(model.pk)


def test_model_without_trims_on_file_learns_nothing(model):
    rng = np.random.default_rng(7)
    serviced(model, both(rng), rng=rng)
    ModelTrim.objects.all().delete()
    assert turns_learn([model.pk], now=timezone.now()).trims == 0
