"""The client against a wire that answers as told: what it queues, repeats, gives up and shows."""

import json
import socket
import threading
import time

import pytest

from flueledger_client import Answer, Client, NoSignal, Queue
from flueledger_client.command import DONE, REFUSED, WAITING, WRONG_USE, main
from flueledger_client.wire import Http

BODY = {"appliance": "B1", "kind": "annual_service", "opened_at": "2026-03-02T09:00:00Z"}


class ToldWire:
    """Answers in turn: an Answer, or an exception to raise. What it was asked is kept."""

    def __init__(self, *answers):
        self.answers, self.asked = list(answers), []

    def ask(self, method, path, body=None, headers=None):
        self.asked.append((method, path, body))
        answer = self.answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return answer


def stored(save_no=1, **members):
    told = {"save_no": save_no, "revision": save_no, "findings": [], "not_put_back": [], "advice": []}
    return Answer(200, {**told, "caution": "Advice only.", **members})


def problem(status, code, **members):
    return Answer(status, {"code": code, "detail": code, **members})


@pytest.fixture
def queue(tmp_path):
    return Queue(tmp_path / "queue.sqlite3")


def client_of(queue, *answers, chance=1.0):
    wire, pauses = ToldWire(*answers), []
    client = Client("", "", queue=queue, wire=wire, pause=pauses.append, chance=lambda: chance)
    return client, wire, pauses


def test_a_save_is_on_disk_under_the_next_number_before_anything_is_sent(queue, tmp_path):
    visit = Client.new_visit()
    assert [queue.add(visit, BODY).save_no for _ in range(2)] == [1, 2]
    assert queue.add(Client.new_visit(), BODY).save_no == 1
    again = Queue(tmp_path / "queue.sqlite3")
    assert [save.body["save_no"] for save in again.waiting()] == [1, 2, 1]


@pytest.mark.parametrize(
    ("visit", "body"), [("no uuid", BODY), ("018f0000-0000-7000-8000-000000000001", {"notes": float("nan")})]
)
def test_what_could_never_be_sent_is_refused_at_once(queue, visit, body):
    with pytest.raises(ValueError, match=r"UUID|JSON"):
        queue.add(visit, body)
    assert queue.waiting() == []


def test_no_signal_is_tried_again_after_growing_pauses_and_waits_on(queue):
    client, wire, pauses = client_of(queue, *[NoSignal("cut")] * 4)
    client.save(Client.new_visit(), BODY)
    client.save(Client.new_visit(), BODY)
    assert client.send(tries=4) == []
    assert pauses == [1.0, 2.0, 4.0]
    assert len(wire.asked) == 4, "the second save is not tried where the first found no signal"
    assert [save.tries for save in queue.waiting()] == [4, 0]


@pytest.mark.parametrize(
    "foreign",
    [Answer(200, None), Answer(200, {}), Answer(302, None), Answer(403, {"ok": False}), Answer(511, [])],
)
def test_what_something_else_answers_is_neither_stored_nor_refused(queue, foreign):
    client, _, _ = client_of(queue, foreign, foreign)
    client.save(Client.new_visit(), BODY)
    assert client.send(tries=2) == []
    assert [save.tries for save in queue.waiting()] == [2]
    assert client.waits_for == f"signal (status {foreign.status} from something that is not our server)"


def test_a_revoked_token_is_said_and_not_tried_again(queue, capsys):
    client, wire, pauses = client_of(queue, problem(401, "token_refused"), stored())
    client.save(Client.new_visit(), BODY)
    assert main([], client) == WAITING
    assert (len(wire.asked), pauses) == (1, [])
    assert "1 saves wait for a new token (token_refused)" in capsys.readouterr().out
    assert [sent.saved for sent in client.send()] == [True]
    assert client.waits_for == ""


def test_pauses_are_scattered_and_never_shorter_than_the_server_asks(queue):
    busy = Answer(429, {"code": "too_many_requests"}, retry_after_s=7.0)
    client, _, pauses = client_of(queue, busy, NoSignal("cut"), stored(), chance=0.0)
    client.save(Client.new_visit(), BODY)
    assert [sent.saved for sent in client.send()] == [True]
    assert pauses == [7.0, 1.0]


def test_a_retry_sends_the_same_bytes(queue):
    client, wire, _ = client_of(queue, NoSignal("cut"), Answer(503, {}), stored())
    client.save(Client.new_visit(), BODY)
    client.send()
    assert wire.asked[0] == wire.asked[1] == wire.asked[2]


def test_a_conflict_is_shown_and_kept_and_holds_nothing_up(queue):
    conflict = problem(409, "row_conflict", conflicts=[{"field": "/tests/0", "stored": 1, "sent": 2}])
    client, _, _ = client_of(queue, conflict, stored())
    client.save(Client.new_visit(), BODY)
    client.save(Client.new_visit(), BODY)
    first, second = client.send()
    assert (first.saved, first.conflict["conflicts"][0]["stored"]) == (False, 1)
    assert (second.saved, second.conflict) == (True, None)
    (kept,) = queue.refused()
    assert (kept.status, kept.answer["code"]) == (409, "row_conflict")
    assert queue.drop(kept.id)
    assert not queue.drop(kept.id)
    assert queue.refused() == []


@pytest.mark.parametrize(
    "lost",
    [problem(409, "save_no_reused", last_save_no=5), stored(save_no=5)],
    ids=["reused", "taken for late"],
)
def test_a_lost_queue_counts_on_from_what_the_server_knows(queue, lost):
    client, wire, _ = client_of(queue, lost, stored(6), stored(7))
    visit = Client.new_visit()
    client.save(visit, BODY)
    client.save(visit, {**BODY, "notes": "later"})
    assert [sent.save.save_no for sent in client.send()] == [6, 7]
    assert [body["save_no"] for _, _, body in wire.asked] == [1, 6, 7]
    assert client.save(visit, BODY).save_no == 8


def test_an_answer_with_a_later_number_of_this_very_queue_is_an_answer(queue):
    """Another program of the device was quicker with the next save and has not noted the answer yet."""
    client, wire, _ = client_of(queue, stored(save_no=2), stored(save_no=2))
    visit = Client.new_visit()
    client.save(visit, BODY)
    client.save(visit, BODY)
    assert [sent.saved for sent in client.send()] == [True, True]
    assert [body["save_no"] for _, _, body in wire.asked] == [1, 2]
    assert queue.waiting() == []


@pytest.mark.parametrize("address", ["ledger.example", "ftp://ledger.example", ""])
def test_an_address_that_is_none_is_refused(address):
    with pytest.raises(ValueError, match="must be http"):
        Http(address, "token")


def told(tmp_path, name, text):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_the_command_sends_a_visit_from_json_and_shows_make_safe_first(queue, tmp_path, capsys):
    finding = {"severity": "make_safe", "sentence": "CO 900 ppm.", "what_to_do": "Leave it off."}
    client, wire, _ = client_of(queue, stored(make_safe="Shut down.", findings=[finding]))
    file = told(tmp_path, "visit.json", json.dumps({**BODY, "save_no": 9}))
    assert main(["visit", file], client) == DONE
    assert wire.asked[0][2] == {**BODY, "save_no": 1}
    lines = capsys.readouterr().out.splitlines()
    assert lines[1] == "MAKE SAFE: Shut down."
    assert "Leave it off." in lines[3]


def test_the_command_says_by_its_exit_code_what_waits_and_what_was_refused(queue, tmp_path, capsys):
    file = told(tmp_path, "visit.json", json.dumps(BODY))
    client, _, _ = client_of(queue, *[NoSignal("cut")] * 5)
    assert main(["visit", file], client) == WAITING
    refusal = problem(400, "invalid", errors=[{"field": "/kind", "limit": "a kind"}])
    client, _, _ = client_of(queue, refusal)
    assert main([], client) == REFUSED
    assert '"field": "/kind"' in capsys.readouterr().out
    assert main(["queue"], client) == REFUSED
    (kept,) = queue.refused()
    assert main(["queue", "--drop", str(kept.id)], client) == DONE
    assert main(["queue", "--drop", str(kept.id)], client) == WRONG_USE
    assert main(["visit", told(tmp_path, "list.json", "[]")], client) == WRONG_USE
    assert main(["visit", str(tmp_path / "nowhere.json")], client) == WRONG_USE


def test_the_command_adds_logs_to_one_visit(queue, tmp_path, capsys):
    client, wire, _ = client_of(queue, stored(1), stored(2), stored(3))
    high = told(
        tmp_path, "high.csv", "When;O2 %;CO\n02.03.2026 10:00:00;4,7;28\n02.03.2026 10:00:05;4,7;--\n"
    )
    low = told(tmp_path, "low.csv", "When;O2 %;CO\n02.03.2026 10:05:00;5,3;9\n")
    visit = Client.new_visit()
    layout = ["--time", "When", "--time-format", "%d.%m.%Y %H:%M:%S", "--zone", "+01:00", "--separator", ";"]
    layout += ["--decimal-mark", ",", "--column", "o2_pct=O2 %", "--column", "co_ppm=CO", "--visit", visit]
    common = [*layout, "--phase", "as_found"]
    assert main(["log", high, *common, "--point", "high", "--appliance", "B1"], client) == DONE
    assert main(["log", low, *common, "--point", "low"], client) == DONE
    assert main(["log", high, *common, "--point", "high"], client) == DONE
    first, second, again = (body for _, _, body in wire.asked)
    assert {row["key"]: row["sequence"] for row in again["tests"]} == {"as_found-high": 1, "as_found-low": 2}
    assert first["opened_at"] == "2026-03-02T10:00:00+01:00"
    assert first["tests"][0]["readings"] == [
        {"at": "2026-03-02T10:00:00+01:00", "o2_pct": 4.7, "co_ppm": 28.0},
        {"at": "2026-03-02T10:00:05+01:00", "o2_pct": 4.7},
    ]
    assert [row["key"] for row in second["tests"]] == ["as_found-high", "as_found-low"]
    assert "2 readings as as_found-high" in capsys.readouterr().out


@pytest.mark.parametrize(
    "wrong",
    [
        ["--address", "ftp://x"],
        ["--queue", "/nowhere/at/all.sqlite3"],
        ["log", "LOG", "--separator", ";;"],
        ["log", "LOG", "--encoding", "nonsense"],
        ["log", "LOG", "--zone", "+99:00"],
    ],
)
def test_the_command_says_what_is_wrong_with_it(wrong, tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("FLUELEDGER_TOKEN", "token")
    log = told(tmp_path, "log.csv", "t,CO\n2026-03-02T09:00:00Z,28\n")
    how = [
        "--appliance",
        "B1",
        "--time",
        "t",
        "--column",
        "co_ppm=CO",
        "--point",
        "low",
        "--phase",
        "as_found",
    ]
    queue = [] if "--queue" in wrong else ["--queue", str(tmp_path / "q.sqlite3")]
    words = [log if word == "LOG" else word for word in wrong]
    assert main([*queue, *words, *(how if "log" in wrong else [])]) == WRONG_USE
    assert capsys.readouterr().err.startswith("flueledger-send: ")


def test_a_refusal_given_before_all_was_sent_is_heard():
    told = b'{"code": "too_large"}'
    head = b"HTTP/1.1 413 Payload Too Large\r\nContent-Length: %d\r\n\r\n" % len(told)
    with socket.create_server(("127.0.0.1", 0)) as server:

        def refuse():
            line, _ = server.accept()
            line.recv(1000)
            line.sendall(head + told)
            time.sleep(0.2)
            line.close()

        refusing = threading.Thread(target=refuse)
        refusing.start()
        http = Http(f"http://127.0.0.1:{server.getsockname()[1]}", "token")
        answer = http.ask("PUT", "visits/x/", {"notes": "x" * 20_000_000})
        refusing.join()
    assert (answer.status, answer.body) == (413, {"code": "too_large"})


def test_a_line_that_breaks_while_it_is_opened_is_no_signal(monkeypatch):
    def reset(line):
        raise ConnectionResetError

    monkeypatch.setattr("http.client.HTTPConnection.connect", reset)
    with pytest.raises(NoSignal, match="ConnectionResetError"):
        Http("http://127.0.0.1:1", "token").ask("PUT", "visits/x/", BODY)
