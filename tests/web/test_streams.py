"""A streamed set in the visit form: a log pasted, readings added one by one, a visit led to its close."""

import uuid
from datetime import datetime, timedelta
from types import SimpleNamespace

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from fleet.models import Analyser
from tests.drifted_burner import burner_file, drifted_burner_known
from tests.visits.bodies import codes
from tests.web.small_fleet import SmallFleet
from tests.web.test_entry import saved, typed
from tests.web.test_entry_round_trip import fields_of
from visits.models import Visit
from visits.selectors import visit_answer

burner = burner_file()
HIGH, LOW = "b1-as_found-high", "b1-as_found-low"


def log(point: str, turns: float = 0.0, seconds: int = 180, sign: str = ",") -> str:
    """What the documented burner's analyser writes."""
    rows = [["Seconds", *burner.COLUMNS.values()]]
    rows += [[second, *burner.reading(point, second, turns).values()] for second in range(0, seconds + 1, 5)]
    return "\n".join(sign.join(map(str, row)) for row in rows)


class Form:
    """The page in a browser without scripts: what stands in it is sent back with what is typed."""

    def __init__(self, client: Client, fleet: SmallFleet, monkeypatch: pytest.MonkeyPatch) -> None:
        self.client, self.fleet = client, fleet
        self.address = reverse("web:enter-visit", args=[uuid.uuid4()]) + f"?appliance={fleet.appliance.pk}"
        self.clock = timezone.now() - timedelta(hours=3)
        monkeypatch.setattr("web.views.entry.timezone", SimpleNamespace(now=lambda: self.clock))
        self.page = client.get(self.address)
        self.renewed: dict[str, str] = {}

    def wait(self, **past: float) -> None:
        self.clock += timedelta(**past)

    def send(self, fields: dict, **headers: str):
        """The answer to a save; the page is then read again, as a browser does."""
        sent = {**typed(), **fields_of(self.page), **fields}
        answer = self.client.post(self.address, sent | self.renewed, headers=headers)
        if headers and answer.status_code == 200:
            self.renewed = {"revision": str(answer.json()["revision"])}
            return answer
        self.renewed = {}
        if answer.status_code in (200, 302) and "look" not in fields:
            self.page = self.client.get(self.address)
        return answer

    def now(self) -> dict:
        return self.client.get(f"/api/v1/visits/{self.address.split('/')[2]}/now/").json()

    @property
    def stored(self) -> dict:
        return visit_answer(saved(self.address))


@pytest.fixture
def form(fleet: SmallFleet, page_of, monkeypatch) -> Form:
    drifted_burner_known(fleet.appliance, tag="B1")
    return Form(page_of(fleet.technician), fleet, monkeypatch)


def test_a_drifting_burner_is_streamed_in_the_form_from_arrival_to_close(form: Form) -> None:
    change = {"change-1-what": "Sequencer", "change-1-was": "automatic", "change-1-set_to": "manual"}
    Analyser.objects.update(settle_s=10)
    form.send(change | {"head-analyser": str(Analyser.objects.get().pk)})
    assert form.now()["step"]["code"] == "as_found"
    waited = []
    for second in range(60, 133, 8):
        shown = burner.reading("high", second)
        typed_now = {f"{HIGH}-{name}": str(shown[name]) for name in ("co2_pct", "o2_pct", "co_ppm")}
        form.send(typed_now | {"add": HIGH}, Accept="application/json")
        told = form.now()
        waited.append(told["to_go_s"])
        form.wait(seconds=8)
    assert waited[-1] is None
    assert waited[-3] > 0
    assert told["reading"]["co2_pct"] == pytest.approx(burner.true_co2_pct("high"), abs=0.05)
    form.page = form.client.get(form.address)
    form.wait(minutes=5)
    form.send({f"{LOW}-log-text": log("low", sign=";").replace(".", ",")})
    told = form.now()
    assert (told["step"]["code"], told["settled"]) == ("adjust", True)
    turns, moves = 0.0, 0
    while told["step"]["code"] == "adjust":
        advice, move = told["advice"][0], f"move-{moves + 1}"
        turns += advice["amount"] if advice["turn"] == "clockwise" else -advice["amount"]
        moves += 1
        form.wait(minutes=1)
        moved = {"trim": advice["trim"], "direction": advice["turn"], "amount": str(advice["amount"])}
        form.send({f"{move}-{name}": value for name, value in moved.items()})
        form.wait(minutes=4)
        form.send({f"{move}-log-text": log("high", turns)})
        told = form.now()
    assert (moves, told["step"]["code"], told["step"]["point"]) == (2, "as_left", "high")
    for row, point in (("high", "high"), ("low", "low"), ("again", "high")):
        form.wait(minutes=5)
        file = SimpleUploadedFile("log.csv", log(point, turns).encode("cp1252"), "text/csv")
        form.send({f"b1-as_left-{row}-log-file": file})
    assert form.now()["step"]["code"] == "put_back"
    form.send({"change-1-put_back": "on"})
    assert form.now()["step"]["code"] == "close"
    form.send({"end-outcome": "completed"})
    visit, answer = saved(form.address), form.stored
    assert (visit.outcome, visit.source) == ("completed", "browser")
    assert visit.health_as_found < 0.5 < visit.health_as_left
    assert {row["settled"] for row in answer["results"].values()} == {"streamed"}
    unwanted = {"not_settled", "moved_too_soon", "moved_after_as_left", "as_left_missing", "read_after_move"}
    assert not unwanted & codes(answer)


def test_a_log_is_looked_at_before_anything_is_saved(form: Form) -> None:
    answer = form.send({f"{HIGH}-log-text": log("high"), "end-notes": "cold", "look": HIGH})
    assert answer.status_code == 200
    assert not Visit.objects.filter(uuid=form.address.split("/")[2]).exists()
    read = answer.context["read"][HIGH]
    assert (read.readings, read.is_settled) == (37, True)
    assert (read.window[1] - read.window[0]).total_seconds() == 60.0
    for text in ("Not saved yet:", "CO2 9.74 ±", "Seconds,CO2 %", "cold", "How it would be judged"):
        assert text in answer.text
    short = form.send({f"{HIGH}-log-text": log("high", seconds=45), "look": HIGH})
    assert "s to go" in short.text
    assert "has not had its time" in short.text


def test_what_is_no_log_is_named_by_line_and_column_and_nothing_is_lost(form: Form) -> None:
    bad = log("high").replace("9.74", "<script>")
    answer = form.send({f"{HIGH}-log-text": bad, f"{LOW}-co2_pct": "9.2", "end-notes": "cold"})
    assert answer.status_code == 422
    assert "Line 13, column «CO2 %»: «&lt;script&gt;» is not a finite decimal number" in answer.text
    assert "<script>," not in answer.text
    for text in ("Seconds,CO2 %", 'value="9.2"', "cold"):
        assert text in answer.text
    assert not Visit.objects.filter(uuid=form.address.split("/")[2]).exists()


def test_a_file_that_is_no_log_is_refused_by_what_it_is(form: Form) -> None:
    spoken = {"Accept": "application/json"}
    for file, said in ((b"x" * 500_001, "The file has more than 500 kB"), (b"\x81\x8d", "no plain text")):
        answer = form.send({f"{HIGH}-log-file": SimpleUploadedFile("log.csv", file)}, **spoken)
        assert answer.status_code == 422
        assert said in answer.json()["errors"][0]["detail"]
    assert form.send({f"{HIGH}-log-file": SimpleUploadedFile("log.csv", b" ")}, **spoken).status_code == 200


def test_columns_are_named_by_the_person_once_for_each_header(form: Form) -> None:
    odd = "k1;k2;k3\n" + "\n".join(f"{second};9,01;4,9" for second in range(0, 130, 5))
    asked = form.send({f"{HIGH}-log-text": odd})
    assert asked.status_code == 422
    assert "that it holds the time" in asked.text
    columns = dict(enumerate(["seconds", "co2_pct|vol %", "o2_pct|vol %"]))
    sheet = next(row for row in asked.context["sheet"].found if row.key == HIGH)
    chosen = {f"{HIGH}-log-column{place}": choice for place, choice in columns.items()}
    form.send({f"{HIGH}-log-text": odd, f"{HIGH}-log-header": sheet.log["header"].value()} | chosen)
    assert form.stored["results"][HIGH]["co2_pct"]["value"] == pytest.approx(9.01, abs=0.1)
    form.wait(minutes=5)
    assert form.send({f"{LOW}-log-text": odd}).status_code == 302
    assert len(form.stored["tests"][1]["readings"]) == 26


def test_a_stream_only_grows_and_a_saved_page_leaves_it_alone(form: Form) -> None:
    form.send({f"{HIGH}-log-text": log("high"), f"{HIGH}-flow_temp_c": "68"})
    readings = form.stored["tests"][0]["readings"]
    assert (len(readings), readings[-1]["flow_temp_c"]) == (37, 68.0)
    form.wait(minutes=1)
    form.send({"end-notes": "cold"})
    assert form.stored["tests"][0]["readings"] == readings
    form.send({f"{HIGH}-co2_pct": "9.71"})
    assert form.stored["tests"][0]["readings"][:-1] == readings
    assert form.send({f"{LOW}-log-text": "", "add": LOW}).status_code == 422


def test_the_page_s_script_is_answered_in_json_and_closes_nothing(form: Form) -> None:
    spoken = {"Accept": "application/json"}
    refused = form.send({"add": HIGH}, **spoken)
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["detail"] == "Type what the analyser shows, then add it."
    played = {
        f"{HIGH}-log-text": log("high"),
        f"{HIGH}-log-upto": "12",
        "end-outcome": "partly_done",
    }
    assert form.send(played, **spoken).json() == {"revision": 1}
    assert (len(form.stored["tests"][0]["readings"]), form.stored["closed"]) == (12, False)


def test_co_in_a_log_stops_everything(form: Form) -> None:
    rich = log("high").replace(",46,", ",2600,")
    answer = form.send({f"{HIGH}-log-text": rich, "look": HIGH})
    assert answer.text.index("Make safe. Leave it off.") < answer.text.index("<h1>")
    beside = answer.text[answer.text.index(f'id="read-{HIGH}"') :]
    assert beside.index("Make safe first: shut the appliance down") < beside.index("Not saved yet")
    form.send({f"{HIGH}-log-text": rich})
    assert form.now()["step"]["code"] == "make_safe"
    assert "move_trim" not in {row["code"] for row in form.now()["advice"]}


def test_a_corrected_reading_keeps_the_time_it_was_read_at(form: Form) -> None:
    form.send({f"{HIGH}-co2_pct": "9.0", f"{HIGH}-settled": "on", "end-outcome": "partly_done"})
    before = form.stored["tests"][0]["readings"][0]["at"]
    form.wait(hours=1)
    correct = reverse("web:correct-visit", args=[form.address.split("/")[2]])
    sent = {**typed(), **fields_of(form.client.get(correct)), f"{HIGH}-co2_pct": "9.1"}
    form.client.post(correct, {**sent, "end-correction": "read off the wrong line"})
    (reading,) = form.stored["tests"][0]["readings"]
    assert (reading["co2_pct"], datetime.fromisoformat(reading["at"])) == (
        9.1,
        datetime.fromisoformat(before),
    )
