"""From a clocked gas meter to heat input, against the nameplate and what a height leaves of it."""

from combustion.altitude import DERATING_RULES, input_share_at, pressure_hpa_at
from combustion.analyser import COVERAGE
from combustion.metering import clocked_input, nameplate_share
from common.parsing import invalid
from common.problems import field_error
from fleet.computing.answers import Answer, missing, quantity
from fleet.computing.flue_gas import ELEVATION_U_HPA
from fleet.computing.inputs import GasRateIn, refused

DEFAULTS = {"meter_temp_c": 15.0, "meter_gauge_mbar": 0.0, "pressure_hpa": 1013.25}
VOLUME_LIMIT = 0.015
"""Limit of error of a diaphragm meter of class 1.5, as a share of the volume: EN 1359, from MEMORY."""
SECONDS_LIMIT = 1.0
"""Two presses of a stop-watch: common practice, no source."""

CAUTION = (
    "Only the burner tested may run, and its inlet pressure must be right. The maker's figure and local "
    "codes come first; nothing here says that an appliance is safe."
)


def gas_rate_answer(asked: GasRateIn) -> Answer:
    """The answer of POST gas-rate/. Raises Problem `invalid` naming the field, its value and its limit."""
    gas = asked.gas()
    if asked.derating_rule is not None and asked.elevation_m is None:
        detail = "A derating rule needs the height of the site."
        raise invalid([field_error("/elevation_m", "required", detail, limit="with a derating_rule")])
    with refused():
        given = {name: getattr(asked, name) for name in DEFAULTS}
        if given["pressure_hpa"] is None and asked.elevation_m is not None:
            given["pressure_hpa"] = float(pressure_hpa_at(asked.elevation_m))
        values = {name: DEFAULTS[name] if value is None else value for name, value in given.items()}
        accuracy = _accuracy(asked)
        clocked = clocked_input(
            asked.volume_m3,
            asked.seconds,
            gas,
            **values,
            gross_mj_m3=asked.gross_mj_m3,
            **{f"u_{name}": limit / COVERAGE for name, (limit, _) in accuracy.items()},
        )
        share_at_site = 1.0
        if asked.derating_rule is not None:
            share_at_site = float(input_share_at(asked.elevation_m or 0.0, asked.derating_rule))
        share = missing("no_nameplate")
        if asked.nameplate_kw is not None:
            basis = asked.nameplate_basis
            measured, u = getattr(clocked, f"{basis}_kw"), getattr(clocked, f"u_{basis}_kw")
            of_plate, u_share = nameplate_share(measured, asked.nameplate_kw, u, share_at_site)
            share = quantity(float(of_plate), float(u_share))
    return {
        "caution": CAUTION,
        "fuel": {"slug": gas.slug, "name": gas.name},
        **{
            name: quantity(float(getattr(clocked, name)), float(getattr(clocked, f"u_{name}")))
            for name in ("rate_m3_h", "base_rate_m3_h", "gross_kw", "net_kw")
        },
        "nameplate_share": share,
        "derating": None
        if asked.derating_rule is None
        else {
            "share": share_at_site,
            "rule": asked.derating_rule,
            "source": DERATING_RULES[asked.derating_rule].source,
        },
        "assumed": [name for name in DEFAULTS if getattr(asked, name) is None],
        "accuracy": {
            name: {"limit": limit, "declared": declared} for name, (limit, declared) in accuracy.items()
        },
    }


def _accuracy(asked: GasRateIn) -> dict[str, tuple[float, bool]]:
    from_height = asked.pressure_hpa is None and asked.elevation_m is not None
    usual = {
        "volume_m3": VOLUME_LIMIT * abs(asked.volume_m3),
        "seconds": SECONDS_LIMIT,
        "pressure_hpa": COVERAGE * ELEVATION_U_HPA if from_height else None,
    }
    taken: dict[str, tuple[float, bool]] = {}
    for name in type(asked.accuracy).model_fields:
        declared = getattr(asked.accuracy, name)
        if declared is not None:
            taken[name] = declared, True
        elif usual.get(name) is not None:
            taken[name] = float(usual[name] or 0.0), False
    return taken
