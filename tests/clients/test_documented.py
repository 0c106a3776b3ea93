"""The examples of docs/clients.md are run as they stand, and end in one and the same record."""

import json
import os
import re
import shutil
import subprocess
import sys
from itertools import groupby
from pathlib import Path

import pytest
from django.conf import settings

from people.services import device_token_issue
from tests.clients import front_page
from tests.clients.bad_line import bad_line
from tests.drifted_burner import drifted_burner_known
from tests.factories import ApplianceFactory, PlantFactory
from tests.visits.conftest import set_up_scene
from tests.visits.test_batch import comparable
from visits.models import Attendance, Visit, VisitRecord
from visits.service_record.issuing import record_issue

PAGE = Path(settings.BASE_DIR) / "docs" / "clients.md"
RUN = {"bash": ["bash"], "python": [sys.executable], "javascript": ["node", "--input-type=module"]}
NEEDS = {"bash": "curl", "javascript": "node"}
DAY = "2026-03-02"


def example(language):
    """The one block of this language on the page."""
    (block,) = re.findall(rf"^```{language}\n(.*?)^```", PAGE.read_text(encoding="utf-8"), re.S | re.M)
    return block


def run(language, port, token, boilers, folder):
    environment = {
        **os.environ,
        "FLUELEDGER_URL": f"http://127.0.0.1:{port}",
        "FLUELEDGER_TOKEN": token,
        "DAY": DAY,
        "BOILERS": " ".join(boilers),
        "PYTHONPATH": str(Path(settings.BASE_DIR) / "clients" / "python"),
    }
    done = subprocess.run(
        RUN[language],
        input=example(language),
        cwd=folder,
        env=environment,
        text=True,
        capture_output=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines() if line.strip()]


def what_the_paper_says(attendance):
    """The service record of an attendance, but for the names of its plant and boilers."""
    visits = record_issue(by=None, attendance=attendance).content["visits"]
    return [
        comparable({name: said for name, said in visit.items() if name != "appliance"}) for visit in visits
    ]


@pytest.mark.django_db(transaction=True)
def test_the_attendance_of_the_front_page_ends_in_a_service_record(api_of, live_server, tmp_path):
    if missing := [name for name in front_page.NEEDS if shutil.which(name) is None]:
        pytest.skip(f"SKIPPED ALOUD: README's example needs {', '.join(missing)}")
    scene = set_up_scene(api_of)
    _, token = device_token_issue(user=scene.technician, name="front page")
    plant, boilers = front_page.plant_of_two(scene)
    front_page.attendance_send(url=live_server.url, token=token, analyser=scene.analyser.tag, folder=tmp_path)
    visits = Visit.objects.filter(appliance__in=boilers)
    assert [visit.outcome for visit in visits] == ["completed", "completed"]
    assert Attendance.objects.filter(plant=plant).count() == 1
    assert (tmp_path / "record.pdf").read_bytes().startswith(b"%PDF-")


@pytest.mark.django_db(transaction=True)
def test_the_streamed_visit_of_the_contract_is_led_to_its_close_by_now(api_of, live_server):
    if missing := [name for name in ("curl", "python3") if shutil.which(name) is None]:
        pytest.skip(f"SKIPPED ALOUD: the streamed visit needs {', '.join(missing)}")
    scene = set_up_scene(api_of)
    drifted_burner_known(scene.appliance, tag=front_page.TAGS[0])
    _, token = device_token_issue(user=scene.technician, name="streams")
    text = (Path(settings.BASE_DIR) / "docs" / "rest.md").read_text(encoding="utf-8")
    section = text[text.index("## A visit as a stream") : text.index("## Computing without a record")]
    (script,) = re.findall(r"^```sh\n(.*?)^```", section, re.S | re.M)
    done = subprocess.run(
        ["sh", "-eu"],
        input=script.replace("P4-01", scene.analyser.tag),
        cwd=settings.BASE_DIR,
        env={**os.environ, "API": f"{live_server.url}/api/v1", "TOKEN": token},
        text=True,
        capture_output=True,
        timeout=240,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    visit = Visit.objects.get(appliance=scene.appliance)
    assert visit.source == "rest"
    steps = [line.split(" | ")[0] for line in done.stdout.splitlines()]
    assert [step for step, _run in groupby(steps) if step != "wait"] == [
        "as_found", "as_found", "adjust", "as_left", "adjust", "as_left", "as_left", "as_left",
        "put_back", "close", "closed",
    ]  # fmt: skip
    assert "Wait about" in done.stdout
    assert (visit.outcome, visit.health_as_found < 0.5 < visit.health_as_left) == ("completed", True)


@pytest.mark.django_db(transaction=True)
def test_an_attendance_of_two_boilers_ends_alike_by_every_documented_way(api_of, live_server, tmp_path):
    """Each over a line that is cut twice: once the answer is lost, once nothing arrives."""
    scene = set_up_scene(api_of)
    _, token = device_token_issue(user=scene.technician, name="examples")
    told, papers, missing = {}, [], []
    for language in RUN:
        if language in NEEDS and shutil.which(NEEDS[language]) is None:
            missing.append(NEEDS[language])
            continue
        plant = PlantFactory(site__customer=scene.appliance.plant.site.customer)
        boilers = [ApplianceFactory(plant=plant, model=scene.appliance.model) for _ in range(2)]
        folder = tmp_path / language
        folder.mkdir()
        with bad_line(live_server.thread.port, cut={2}, dead={4}) as line:
            told[language] = run(language, line.port, token, [str(row.uuid) for row in boilers], folder)
            assert line.count == 6, "four saves, two of them twice"
        visits = Visit.objects.filter(appliance__in=boilers)
        assert visits.count() == len(told[language]) == 2
        papers.append(what_the_paper_says(Attendance.objects.get(plant=plant)))
        assert VisitRecord.objects.filter(visit__in=visits).count() == 2
        assert {visit.revision for visit in visits} == {2}
        assert {visit.outcome for visit in visits} == {"completed"}
    alike = [[comparable({**one, "appliance": ""}) for one in answers] for answers in told.values()]
    for answers in alike[1:]:
        assert answers == alike[0]
    assert papers == [papers[0]] * len(told)
    assert alike[0][0]["not_put_back"] == []
    assert len(alike[0][0]["results"]) == 2
    if missing:
        pytest.skip(f"SKIPPED ALOUD: the example needs {', '.join(missing)}")
