"""Which bias judgements take off: material against its uncertainty and the class, and held between runs."""

import pytest

from analytics.handing_over import Applied, applied_of, period_biases_hand_over
from analytics.models import DriftRun, PeriodBias
from fleet.models import AnalyserChannel
from tests.factories import AnalyserPeriodFactory
from visits.models import JudgeDuty

CLASS_U = 0.15


@pytest.mark.parametrize(
    ("found", "held", "applied"),
    [
        # size against the class's standard uncertainty
        (Applied(0.149, 0.01), None, None),
        (Applied(-0.151, 0.01), None, Applied(-0.151, 0.01)),
        # size against its own: two standard uncertainties
        (Applied(0.40, 0.21), None, None),
        (Applied(0.40, 0.19), None, Applied(0.40, 0.19)),
        # once applied it stays through small changes, down to 0.8 of what it needed
        (Applied(0.13, 0.02), Applied(0.16, 0.02), Applied(0.16, 0.02)),
        (Applied(0.11, 0.02), Applied(0.16, 0.02), None),
        # and is renewed where it moved by half the class's, or is known much better
        (Applied(0.30, 0.02), Applied(0.22, 0.02), Applied(0.30, 0.02)),
        (Applied(0.29, 0.02), Applied(0.22, 0.02), Applied(0.22, 0.02)),
        (Applied(0.22, 0.02), Applied(0.22, 0.04), Applied(0.22, 0.02)),
        # the other sign is another bias; none, or a weak one, takes it off
        (Applied(-0.13, 0.02), Applied(0.16, 0.02), None),
        (None, Applied(0.5, 0.02), None),
    ],
)
def test_a_bias_is_applied_where_it_is_material_and_then_held(found, held, applied):
    assert applied_of(found, held, CLASS_U) == applied


def run_with(biases):
    run = DriftRun.objects.create(
        kind=DriftRun.Kind.COMMAND, started_at="2026-05-01T00:00Z", as_of="2026-05-01"
    )
    for period, bias, u, weak in biases:
        PeriodBias.objects.create(
            run=run, period=period, bias_co2_pct=bias, bias_u_co2_pct=u, readings=40, weak=weak, visits=20
        )
    period_biases_hand_over(run)
    return run


def test_a_run_hands_over_what_is_material_and_asks_for_those_visits_only(db):
    off, true, weak = (AnalyserPeriodFactory() for _ in range(3))
    fine = AnalyserPeriodFactory()
    # a fine O2 channel: 0.1 % O2 is 0.028 % CO2 of standard uncertainty, so 0.05 is material to it
    AnalyserChannel.objects.create(
        analyser=fine.analyser, quantity="o2_pct", source="measured", accuracy_abs=0.1
    )
    first = run_with(
        [
            (off, 0.40, 0.03, False),
            (true, 0.05, 0.01, False),
            (weak, 0.6, 0.03, True),
            (fine, 0.05, 0.01, False),
        ]
    )
    for period in (off, true, weak, fine):
        period.refresh_from_db()
    assert (off.applied_bias_co2_pct, off.applied_bias_u_co2_pct, off.applied_bias_run) == (
        0.40,
        0.03,
        first.pk,
    )
    assert fine.applied_bias_run == first.pk
    assert true.applied_bias_run is weak.applied_bias_run is None
    assert (true.bias_co2_pct, true.bias_run) == (0.05, first.pk)
    asked = JudgeDuty.objects.filter(cause=JudgeDuty.Cause.BIAS)
    assert {row.subject for row in asked} == {str(off.pk), str(fine.pk)}

    second = run_with([(off, 0.41, 0.03, False), (fine, 0.05, 0.01, False)])
    off.refresh_from_db()
    assert (off.bias_run, off.bias_co2_pct, off.applied_bias_run) == (second.pk, 0.41, first.pk)
    assert set(asked.values_list("asked", flat=True)) == {1}

    run_with([(fine, 0.05, 0.01, False)])
    off.refresh_from_db()
    assert off.applied_bias_co2_pct is off.applied_bias_run is off.bias_run is None
    assert asked.get(subject=off.pk).asked == 2
