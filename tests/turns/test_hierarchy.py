"""What a turn does, learnt from moves: against exact answers, another library, and its own promise."""

import numpy as np
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from analytics.turns.evidence import why_way_only
from analytics.turns.hierarchy import Learnt, Moves, learn, posterior

EFFECT, SPREAD, SCATTER, READING_U = -0.12, 0.15, 0.12, 0.006


def drawn(rng, moves, burners, *, clumsy=0.0, spread=SPREAD):
    """Moves of a model whose turn changes ln K by -0.12, burners and hands apart by their shares of it."""
    burner = rng.integers(0, burners, moves)
    effect = EFFECT * (1.0 + spread * rng.standard_normal(burners))[burner]
    amount = rng.choice([-1.0, 1.0], moves) * rng.uniform(0.06, 0.35, moves)
    change = effect * amount + EFFECT * SCATTER * amount * rng.standard_normal(moves)
    change += READING_U * rng.standard_normal(moves)
    wrong = rng.random(moves) < clumsy
    change = np.where(wrong, change * rng.choice([-1.0, 3.0, 0.2], moves), change)
    return Moves(amount, change, np.full(moves, READING_U), burner)


def test_with_known_spreads_the_answer_is_the_conjugate_one():
    """Exact: mu from the whole covariance matrix, one dense inverse, no sums per burner."""
    moves = drawn(np.random.default_rng(1), 60, 12)
    tau, kappa = 0.02, 0.015
    a = moves.amount
    same = moves.burner[:, None] == moves.burner
    covariance = np.diag(moves.u**2 + kappa**2 * a**2) + tau**2 * same * np.outer(a, a)
    inverse = np.linalg.inv(covariance)
    information = a @ inverse @ a
    found = posterior(moves, np.ones(60), 0.12, tau=np.array([tau]), kappa=np.array([kappa]))
    assert found.effect == pytest.approx(a @ inverse @ moves.change / information, rel=1e-9)
    assert found.u == pytest.approx(information**-0.5, rel=1e-9)
    low, high = found.interval()
    assert (high - low) / 2 == pytest.approx(1.95996 * information**-0.5, rel=1e-3)


def test_effect_and_spread_agree_with_statsmodels_mixed_model():
    """MixedLM (REML), a random slope per burner; amounts of one size, where its equal noises are right."""
    rng = np.random.default_rng(2)
    moves = drawn(rng, 600, 60)
    moves = Moves(np.sign(moves.amount) * 0.2, moves.change, np.full(600, 1e-5), moves.burner)
    effect = EFFECT * (1.0 + SPREAD * rng.standard_normal(60))[moves.burner]
    change = moves.amount * (effect + EFFECT * SCATTER * rng.standard_normal(600))
    moves = Moves(moves.amount, change, moves.u, moves.burner)
    # a hundredfold, since MixedLM takes a small variance for one at its boundary
    slope = moves.amount[:, None]
    theirs = MixedLM(100.0 * change, slope, groups=moves.burner, exog_re=slope).fit(reml=True)
    ours = posterior(moves, np.ones(600), abs(EFFECT))
    assert ours.effect == pytest.approx(theirs.params[0] / 100.0, rel=0.005)
    assert ours.u == pytest.approx(theirs.bse[0] / 100.0, rel=0.1)
    assert ours.spread == pytest.approx(float(np.sqrt(theirs.cov_re[0, 0])) / 100.0, rel=0.1)


@pytest.mark.parametrize("clumsy", [0.0, 0.04])
def test_interval_holds_the_truth_as_often_as_it_says(clumsy):
    """95 % of 150 models with 40 moves on 25 burners, within 3 points (their own chance is 1.8).

    600 of them, run once: 96.2 % without clumsy entries, 95.3 % with 4 % of them.
    """
    rng = np.random.default_rng(3)
    found = [learn(drawn(rng, 40, 25, clumsy=clumsy)) for _ in range(150)]
    held = np.mean([each.low <= EFFECT <= each.high for each in found])
    assert held == pytest.approx(0.95, abs=0.03)


def test_prediction_of_another_burner_holds_as_often_as_it_says():
    rng = np.random.default_rng(4)
    held = []
    for _ in range(80):
        found = learn(drawn(rng, 30, 20))
        others = EFFECT * (1.0 + SPREAD * rng.standard_normal(50))
        held.append(np.mean(np.abs(others - found.effect) < 1.96 * found.u_one_burner))
    assert np.mean(held) == pytest.approx(0.95, abs=0.025)


def test_entries_the_wrong_way_round_are_set_aside():
    rng = np.random.default_rng(5)
    clean = drawn(rng, 60, 20)
    turned = np.arange(60) % 12 == 0
    moves = Moves(clean.amount, np.where(turned, -clean.change, clean.change), clean.u, clean.burner)
    kept = ~turned
    alone = learn(Moves(clean.amount[kept], clean.change[kept], clean.u[kept], clean.burner[kept]))
    found = learn(moves)
    assert found.set_aside >= 4
    assert found.effect == pytest.approx(alone.effect, abs=1.0 * alone.u)


def test_neither_order_nor_names_of_burners_matter():
    moves = drawn(np.random.default_rng(6), 30, 9, clumsy=0.1)
    order = np.random.default_rng(7).permutation(30)
    again = learn(
        Moves(moves.amount[order], moves.change[order], moves.u[order], 1000 - 3 * moves.burner[order])
    )
    assert again.effect == pytest.approx(learn(moves).effect, rel=1e-9)


def test_no_move_teaches_nothing_and_one_move_little():
    empty = np.empty(0)
    assert learn(Moves(empty, empty, empty, empty.astype(int))) is None
    one = learn(Moves(np.array([0.25]), np.array([-0.03]), np.array([0.006]), np.array([4])))
    assert why_way_only(one, clockwise_lowers_co2=True) == "few_moves"


@pytest.mark.parametrize(
    ("field", "value"), [("amount", 0.0), ("amount", np.nan), ("change", np.inf), ("u", 0.0)]
)
def test_impossible_moves_are_refused_by_name(field, value):
    columns = {"amount": 0.2, "change": 0.01, "u": 0.006} | {field: value}
    with pytest.raises(ValueError, match=field):
        learn(Moves(**{name: np.array([each]) for name, each in columns.items()}, burner=np.array([1])))


@pytest.mark.parametrize(
    ("more", "clockwise_lowers", "why"),
    [
        ({}, True, ""),
        ({}, None, ""),
        ({}, False, "against_file"),
        ({"moves": 3}, False, "few_moves"),
        ({"moves": 7}, True, "few_moves"),
        ({"burners": 2}, True, "few_burners"),
        ({"spread": 0.05}, True, "wide"),
    ],
)
def test_amount_is_named_on_enough_evidence_only(more, clockwise_lowers, why):
    known = {"effect": -0.12, "u": 0.01, "low": -0.14, "high": -0.10, "spread": 0.02, "scatter": 0.02}
    learnt = Learnt(**{**known, "moves": 20, "burners": 15, "set_aside": 0, **more})
    assert why_way_only(learnt, clockwise_lowers_co2=clockwise_lowers) == why
