"""What has to be on file for the invented burner of docs/burner.py to be advised on, as in the demo."""

import importlib.util
from pathlib import Path

from django.conf import settings
from django.utils import timezone

from fleet.models import Appliance, FiringSpec, ModelTrim, Point, TurnSensitivity

_FILE = Path(settings.BASE_DIR) / "docs" / "burner.py"


def burner_file():
    """The documented burner as a module."""
    kept = importlib.util.spec_from_file_location("burner", _FILE)
    module = importlib.util.module_from_spec(kept)
    kept.loader.exec_module(module)
    return module


def drifted_burner_known(appliance: Appliance, *, tag: str) -> None:
    """Its bands, and what a turn of its model's throttle does: a little less than it does at this burner."""
    throttle = ModelTrim.objects.get(model=appliance.model, kind="throttle")
    throttle.lowers_co2, throttle.max_step_turns = "anticlockwise", 0.25
    throttle.save()
    TurnSensitivity.objects.create(
        trim=throttle,
        unit="turn",
        effect=0.061,
        effect_low=0.055,
        effect_high=0.068,
        effect_u=0.003,
        spread=0.009,
        scatter=0.006,
        moves=21,
        burners=18,
        set_aside=0,
        learnt_at=timezone.now(),
    )
    bands = {Point.HIGH: (8.8, 9.2, 8.5, 9.5), Point.LOW: (8.2, 8.9, 7.9, 9.2)}
    for point, (target_low, target_high, accept_low, accept_high) in bands.items():
        FiringSpec.objects.filter(model=appliance.model, point=point).update(
            target_low_co2_pct=target_low,
            target_high_co2_pct=target_high,
            accept_low_co2_pct=accept_low,
            accept_high_co2_pct=accept_high,
        )
    appliance.model.turndown = 5.0
    appliance.model.save()
    appliance.tag = tag
    appliance.save()
