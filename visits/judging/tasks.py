"""The tick's door to judging again. The engine is loaded by the process that judges, not by every start."""

from datetime import datetime

SECONDS_A_TICK = 5.0
"""A first run of drift may owe hundreds of thousands of visits: what devices send meanwhile waits no longer
than this for its turn."""


def judge_what_is_owed(now: datetime) -> dict[str, int]:
    """See what changed that visits are judged by, then for a while judge the visits that are owed it."""
    from visits.judging.basis import basis_watch
    from visits.judging.duties import duties_work, engine_ask

    engine_ask()
    basis_watch()
    return duties_work(seconds=SECONDS_A_TICK)
