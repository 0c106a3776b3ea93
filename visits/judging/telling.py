"""What a visit says of being judged again: one sentence, and the same as members of the answer."""

from typing import Any

import numpy as np
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from combustion.acceptance import verdict
from visits.judging.catalogue import FINDINGS
from visits.models import JudgedAgain, JudgeDuty, TestResult

_BECAUSE = {
    JudgeDuty.Cause.ENGINE: gettext_lazy("the way of judging changed"),
    JudgeDuty.Cause.SPECS: gettext_lazy("the model's firing specs changed"),
    JudgeDuty.Cause.LIMITS: gettext_lazy("safety limits changed"),
    JudgeDuty.Cause.GAS: gettext_lazy("another gas was reported for that day"),
    JudgeDuty.Cause.ASKED: gettext_lazy("somebody asked for it"),
}
_PHASE = {"as_found": gettext_lazy("as found"), "as_left": gettext_lazy("as left")}
_WORDS = dict(TestResult.Verdict.choices)


def again_sentence(row: JudgedAgain) -> str:
    """Why a visit was judged again and what came out differently, one sentence."""
    return _("Judged again on %(day)s: %(because)s. %(changes)s.") % {
        "day": date_format(row.at, "j M Y"),
        "because": _because(row),
        "changes": "; ".join(_changes(row.changes)),
    }


def again_answer(row: JudgedAgain) -> dict[str, Any]:
    """The same for REST."""
    return {
        "at": row.at.isoformat(),
        "cause": str(row.cause),
        "bias_run": row.bias_run,
        "bias_co2_pct": row.bias_co2_pct,
        "bias_u_co2_pct": row.bias_u_co2_pct,
        "was_bias_run": row.was_bias_run,
        "engine_version": row.engine_version,
        **row.changes,
        "sentence": again_sentence(row),
    }


def _because(row: JudgedAgain) -> str:
    if row.cause != JudgeDuty.Cause.BIAS:
        return str(_BECAUSE[JudgeDuty.Cause(row.cause)])
    if row.bias_co2_pct is None or row.bias_u_co2_pct is None:
        return _("the analyser's bias found by run %(run)s no longer holds, and is no longer taken off") % {
            "run": row.was_bias_run
        }
    return _("run %(run)s found that the analyser read %(size)s ± %(reach)s %% CO2 too %(way)s") % {
        "run": row.bias_run,
        "size": f"{abs(row.bias_co2_pct):.2f}",
        "reach": f"{1.96 * row.bias_u_co2_pct:.2f}",
        "way": _("high") if row.bias_co2_pct > 0 else _("low"),
    }


def _changes(changes: dict[str, Any]) -> list[str]:
    parts = [
        _("%(place)s: from %(old)s to %(new)s")
        % {"place": test["place"], "old": _WORDS[test["from"]], "new": _WORDS[test["to"]]}
        for test in changes["tests"]
    ]
    parts += [
        _("health %(phase)s: from %(old)s to %(new)s")
        % {"phase": _PHASE[phase], "old": _health(old), "new": _health(new)}
        for phase, (old, new) in changes["health"].items()
    ]
    for name, text in (("came", _("found now: %s")), ("went", _("withdrawn: %s"))):
        if changes[name]:
            parts.append(text % ", ".join(str(FINDINGS[code].title) for code in changes[name]))
    return parts


def _health(probability: float | None) -> str:
    if probability is None:
        return str(_WORDS[TestResult.Verdict.NOT_JUDGED])
    return f"{verdict(np.array([probability]))[0]} ({probability:.2f})"
