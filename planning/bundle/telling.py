"""The bundle as one JSON body, the same bytes for the same state."""

import math
from functools import cache
from typing import Any

from rest_framework.renderers import JSONRenderer

from combustion import acceptance, analyser
from combustion.balance import AIR_O2_PCT
from combustion.fuels import FUELS
from combustion.readings import DEFAULTS
from common.telling import Tell, teller
from fleet.computing.fuels import fuel_answer
from fleet.items import STEP_CAUTIONS, item_answer
from fleet.models import WorkStep
from planning.bundle.reading import Bundle
from planning.bundle.serializers import DaySerializer
from visits.advice import INSIDE_FROM
from visits.judging.catalogue import FINDINGS, sentence
from visits.judging.engine import ENGINE_VERSION
from visits.judging.health import ACCEPTANCE_HALF_WIDTH_CO2_PCT
from visits.models import Finding
from visits.saving.answer import CAUTION

REFERENCE = "15/15"


def bundle_body(bundle: Bundle) -> bytes:
    """The bundle as UTF-8 JSON."""
    told: bytes = JSONRenderer().render(_tell()(bundle_members(bundle)))
    return told


@cache
def _tell() -> Tell:
    """One for all requests: working out the fields from the models takes longer than telling the day."""
    return teller(DaySerializer())


def bundle_members(bundle: Bundle) -> dict[str, Any]:
    """What `DaySerializer` tells of, by its fields' names."""
    day = bundle.day
    plants: dict[int, Any] = {stop.plant_id: stop.plant for stop in day.attendances}
    appliances: dict[int, Any] = {row.pk: row for plant in plants.values() for row in plant.in_use}
    for pk, plant in plants.items():
        plant.limits, plant.gases = bundle.limits_of[pk], bundle.gases_of[pk]
    for pk, appliance in appliances.items():
        appliance.findings_told = [_finding(row) for row in bundle.findings.get(pk, [])]
        appliance.item_lists = bundle.lists_of[pk]
        appliance.put_back = bundle.put_back[pk]
        if appliance.last is not None:
            appliance.last.moves = bundle.adjustments.get(appliance.last.pk, [])
    return {
        "technician": day.technician.username,
        "date": day.on,
        "caution": CAUTION,
        "attendances": day.attendances,
        "plants": plants.values(),
        "appliances": appliances.values(),
        "models": day.models,
        "analysers": bundle.analysers,
        "limits": [{"id": number, "rows": rows} for number, rows in bundle.limits.numbered()],
        "fuels": _catalogue(),
        "gases": [{"id": number, **fuel_answer(gas, REFERENCE)} for number, gas in bundle.gases.numbered()],
        "steps": _steps(),
        "items": {str(pk): item_answer(row) for pk, row in sorted(bundle.items.items())},
        "item_lists": [{"id": number, "items": list(pks)} for number, pks in bundle.lists.numbered()],
        "finding_kinds": _kinds(bundle),
        "constants": constants(),
    }


def _finding(row: Finding) -> dict[str, Any]:
    return {
        "code": row.code,
        "burner": row.burner.position if row.burner else None,
        "severity": row.severity,
        "sentence": sentence(row),
        "value": row.value,
        "limit": row.limit,
        "unit": row.unit,
        "life": row.life,
        "due_on": row.due_on,
        "visit": row.visit.uuid,
        "seen_on": row.visit.local_on,
    }


def _kinds(bundle: Bundle) -> dict[str, Any]:
    codes = sorted({row.code for rows in bundle.findings.values() for row in rows})
    return {
        code: {"title": str(FINDINGS[code].title), "what_to_do": str(FINDINGS[code].what_to_do)}
        for code in codes
    }


@cache
def _catalogue() -> list[dict[str, Any]]:
    return [fuel_answer(fuel, REFERENCE) for fuel in FUELS.values()]


@cache
def _steps() -> list[dict[str, str]]:
    return [
        {"code": step.value, "title": str(step.label), "caution": STEP_CAUTIONS.get(step, "")}
        for step in WorkStep
    ]


@cache
def constants() -> dict[str, Any]:
    """What the engine takes as given: units in the names; sources in docs/formulas.md and the schema."""
    return {
        "engine_version": ENGINE_VERSION,
        "air_o2_pct": AIR_O2_PCT,
        "assumed": dict(DEFAULTS),
        "acceptance_half_width_co2_pct": ACCEPTANCE_HALF_WIDTH_CO2_PCT,
        "verdict_from": {
            "inside": acceptance.INSIDE_FROM,
            "probably_inside": acceptance.PROBABLY_INSIDE_FROM,
            "probably_outside_above": acceptance.PROBABLY_OUTSIDE_ABOVE,
        },
        "advice_leaves_from": INSIDE_FROM,
        "analyser_own_share": analyser.OWN_SHARE,
        "analyser_coverage": analyser.COVERAGE,
        "analyser_class": {
            "name": analyser.EN_50379.name,
            "source": analyser.EN_50379.source,
            "error_limits": {
                channel: [
                    {
                        "up_to": None if math.isinf(limit.up_to) else limit.up_to,
                        "absolute": limit.absolute,
                        "relative": limit.relative,
                    }
                    for limit in limits
                ]
                for channel, limits in analyser.EN_50379.channels.items()
            },
        },
    }
