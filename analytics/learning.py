"""Writes of what is learnt about trims: one row per trim of a model, into fleet's own table."""

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import F

from analytics.models import TurnDuty
from analytics.reading.moves import moves_read
from analytics.turns.evidence import why_way_only
from analytics.turns.hierarchy import Learnt, learn
from fleet.models import ModelTrim, TurnSensitivity
from visits.models import Adjustment

MODELS_AT_ONCE = 10
"""Models that one tick learns; the next takes the rest."""


@dataclass(frozen=True)
class Learning:
    """What was learnt: models looked at, trims with a row, and those with enough to name an amount."""

    models: int = 0
    trims: int = 0
    with_amount: int = 0


def turns_ask(model_ids: set[int]) -> None:
    """Note that moves of these models were recorded."""
    for model_id in model_ids:
        TurnDuty.objects.get_or_create(model_id=model_id)
    TurnDuty.objects.filter(model__in=model_ids).update(asked=F("asked") + 1)


def models_moved() -> set[int]:
    """Models with any recorded move of a trim."""
    rows = Adjustment.objects.filter(withdrawn_reason="").order_by()
    return set(rows.values_list("burner__appliance__model", flat=True).distinct())


def turns_answer(*, now: datetime) -> Learning:
    """Learn some of the models that were asked for. Doing it twice, or two at once, comes to the same."""
    owed = TurnDuty.objects.filter(asked__gt=F("answered")).order_by("id")
    done = Learning()
    for duty in owed[:MODELS_AT_ONCE]:
        learnt = turns_learn([duty.model_id], now=now)
        # by the count that was read before: moves recorded meanwhile are still owed
        TurnDuty.objects.filter(pk=duty.pk, answered__lt=duty.asked).update(answered=duty.asked)
        done = _added(done, learnt)
    return done


def turns_learn(model_ids: list[int], *, now: datetime) -> Learning:
    """Learn the trims on file of these models from all their recorded moves, and replace the rows."""
    done = Learning()
    for model_id in model_ids:
        trims = list(ModelTrim.objects.filter(model=model_id))
        moves = moves_read(model_id) if trims else {}
        learnt = {key: found for key, own in moves.items() if (found := learn(own)) is not None}
        with transaction.atomic():
            rows = [row for trim in trims if (row := _replaced(trim, learnt, now)) is not None]
        done = _added(done, Learning(1, len(rows), sum(not row.way_only for row in rows)))
    return done


def _replaced(
    trim: ModelTrim, learnt: dict[tuple[str, str], Learnt], now: datetime
) -> TurnSensitivity | None:
    """The trim's row in the unit with more moves; none, and no longer one, where nothing was learnt."""
    known = [(unit, found) for (kind, unit), found in learnt.items() if kind == trim.kind]
    if not known:
        TurnSensitivity.objects.filter(trim=trim).delete()
        return None
    unit, found = max(known, key=lambda pair: pair[1].moves)
    clockwise_lowers = trim.lowers_co2 == ModelTrim.Direction.CLOCKWISE if trim.lowers_co2 else None
    row, _ = TurnSensitivity.objects.update_or_create(
        trim=trim,
        defaults={
            "unit": unit,
            "effect": found.effect,
            "effect_low": found.low,
            "effect_high": found.high,
            "effect_u": found.u,
            "spread": found.spread,
            "scatter": found.scatter,
            "moves": found.moves,
            "burners": found.burners,
            "set_aside": found.set_aside,
            "why_way_only": why_way_only(found, clockwise_lowers_co2=clockwise_lowers),
            "learnt_at": now,
        },
    )
    return row


def _added(one: Learning, other: Learning) -> Learning:
    return Learning(one.models + other.models, one.trims + other.trims, one.with_amount + other.with_amount)
