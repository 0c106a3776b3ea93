"""What a run learnt of the fleet, kept so that one appliance can be fitted again with it held."""

import io
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from analytics.drift.decomposition import CommonSpread
from analytics.drift.estimate import Run
from analytics.drift.movement import Movement
from analytics.drift.periods import Columns
from analytics.drift.setting import Setting
from analytics.drift.wander import Mixture
from analytics.reading import FleetHistory, Numbering


class KeptOutdated(Exception):
    """The run was made by an earlier engine, whose figures this one cannot hold."""


@dataclass(frozen=True)
class Kept:
    """A run's figures, and which ids its numbers stand for."""

    run: Run
    numbering: Numbering

    def packed(self) -> bytes:
        """The same as bytes, for the run's row."""
        arrays = {name: value for name, value in _flat("run", self.run)}
        arrays |= {name: value for name, value in _flat("numbering", self.numbering)}
        buffer = io.BytesIO()
        np.savez_compressed(buffer, allow_pickle=False, **arrays)
        return buffer.getvalue()

    def figures(self) -> dict[str, Any]:
        """The few that a person may want to read."""
        movement, spread, mixture = self.run.movement, self.run.spread, self.run.movement.mixture
        return {
            "usual_movement_throttle_pct": float(movement.reference[0]),
            "usual_movement_offset_pa": float(movement.reference[1]),
            "noise_factor": movement.noise_factor,
            "visit_noise_pct": float(np.sqrt(movement.visit_var)),
            "set_within_pct": [
                float(sd) if np.isfinite(sd) else None for sd in np.sqrt(movement.setting.var)
            ],
            "blunder_share": movement.blunder_share,
            "jump_share": movement.jump_share,
            "shares": [float(share) for share in mixture.share],
            "wander_ratio": [float(ratio) for ratio in np.exp(mixture.ratio)],
            "bias_sd_co2_pct": spread.bias_sd,
            "gas_sd_pct": spread.gas_sd,
            "gas_correlation": spread.gas_correlation,
            "air_power": self.run.air_power,
            "flag_from_probability": self.run.cut,
        }


def kept_of(read: FleetHistory, run: Run) -> Kept:
    """What is kept of a run over what was read."""
    return Kept(run, read.numbering)


def unpacked(data: bytes) -> Kept:
    """What `packed` kept, with room for a model that the run did not know. Raises KeptOutdated."""
    with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
        try:
            run = _whole(Run, "run", arrays)
            numbering = _whole(Numbering, "numbering", arrays)
        except KeyError as error:
            raise KeptOutdated(str(error)) from error
    # the row after the last is that of a model the run did not know: as the fleet's
    movement = run.movement
    scale = np.concatenate([movement.model_scale, np.ones((1, 2))])
    level = np.concatenate([movement.setting.level, np.full((1, 2), np.nan)])
    movement = replace(movement, model_scale=scale, setting=replace(movement.setting, level=level))
    return Kept(replace(run, movement=movement), numbering)


_PARTS = {
    "Columns": Columns,
    "Movement": Movement,
    "CommonSpread": CommonSpread,
    "Mixture": Mixture,
    "Setting": Setting,
}


def _flat(prefix: str, value: Any) -> list[tuple[str, np.ndarray]]:
    rows: list[tuple[str, np.ndarray]] = []
    for field in fields(value):
        item = getattr(value, field.name)
        name = f"{prefix}.{field.name}"
        rows += _flat(name, item) if str(field.type) in _PARTS else [(name, np.asarray(item))]
    return rows


def _whole(kind: type[Any], prefix: str, arrays: Any) -> Any:
    values: dict[str, Any] = {}
    for field in fields(kind):
        name = f"{prefix}.{field.name}"
        if str(field.type) in _PARTS:
            values[field.name] = _whole(_PARTS[str(field.type)], name, arrays)
        else:
            array = arrays[name]
            values[field.name] = array.item() if str(field.type) in ("float", "int") else array
    return kind(**values)
