"""The order in which things were done on a burner: by the keys that moves name, else by device times."""

from collections.abc import Iterator

from visits.judging.case import Case
from visits.models import Adjustment, FiringTest, Phase


def standing_moves(case: Case, burner_id: int) -> Iterator[Adjustment]:
    """The burner's moves that were not withdrawn."""
    return (move for move in case.adjustments if move.burner_id == burner_id and not move.withdrawn_reason)


def was_before(move: Adjustment, test: FiringTest) -> bool | None:
    """Whether the move came before the test's reading; None where nothing says."""
    if move.after_test and move.after_test == test.key:
        return True
    if move.before_test and move.before_test == test.key:
        return False
    if move.at is None or test.observed_at is None:
        return None
    return move.at < test.observed_at


def moves_before(case: Case, test: FiringTest) -> list[Adjustment]:
    """The moves of the test's burner that are known to have come before it."""
    if not case.adjustments:
        return []
    return [move for move in standing_moves(case, test.burner_id) if was_before(move, test)]


def moved_since(case: Case, test: FiringTest) -> bool:
    """Whether a trim of the test's burner is known to have moved after it was read."""
    if not case.adjustments:
        return False
    return any(was_before(move, test) is False for move in standing_moves(case, test.burner_id))


def read_after_move(case: Case, test: FiringTest) -> bool:
    """An as-found test that is none: a trim had moved, as its row says or the times show."""
    if test.phase != Phase.AS_FOUND:
        return False
    if test.moved_before is not None:
        return test.moved_before
    return bool(moves_before(case, test))
