"""README's attendance of two boilers, sent as it stands there."""

import re
import subprocess
from pathlib import Path

from django.conf import settings

from tests.factories import ApplianceFactory, PlantFactory

TAGS = ("T028-B1", "T028-B2")
NEEDS = ("curl", "python3")


def plant_of_two(scene, **more):
    """A plant of the scene's customer with the two boilers of README's example, by tag."""
    plant = PlantFactory(site__customer=scene.appliance.plant.site.customer, **more)
    return plant, [ApplianceFactory(plant=plant, model=scene.appliance.model, tag=tag) for tag in TAGS]


def attendance_send(*, url, token, analyser, folder):
    """Run README's section with this server, token and analyser."""
    text = (Path(settings.BASE_DIR) / "README.md").read_text(encoding="utf-8")
    section = text[text.index("## One attendance over REST") : text.index("## History in")]
    script = "\n".join(re.findall(r"^```sh\n(.*?)^```", section, re.S | re.M))
    script = script.replace("TOKEN=…", f"TOKEN={token}").replace("P4-01", analyser)
    script = script.replace("http://127.0.0.1:8000", url)
    done = subprocess.run(
        ["sh", "-eu"], input=script, cwd=folder, text=True, capture_output=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
