"""`flueledger-send`: queue a visit or an analyser's log, send what waits, show what was judged."""

import argparse
import json
import os
import sqlite3
import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from flueledger_client.client import Client, Sent
from flueledger_client.log import Layout, LogError, readings_of, zone_of
from flueledger_client.queue import Queue

DONE, REFUSED, WRONG_USE, WAITING = 0, 1, 2, 3
KINDS = ("commissioning", "annual_service", "recheck", "breakdown")


def main(arguments: Sequence[str] | None = None, client: Client | None = None) -> int:
    """Run the command. Exit code: 0 all is sent, 1 the server refused something, 2 the command was wrong,
    3 something waits for signal."""
    options = _parser().parse_args(arguments)
    try:
        queue = client.queue if client else Queue(options.queue)
        if options.what == "queue":
            return _show(queue, options.drop)
        if options.what == "visit":
            _queue_visit(queue, options)
        elif options.what == "log":
            _queue_log(queue, options)
        if options.queue_only:
            return WAITING
        client = client or _client(options, queue)
    except (LogError, ValueError, LookupError, OSError, sqlite3.Error) as error:
        print(f"flueledger-send: {error}", file=sys.stderr)
        return WRONG_USE
    return _send(client)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="flueledger-send", description=__doc__)
    parser.add_argument("--address", default=os.environ.get("FLUELEDGER_URL"), help="else $FLUELEDGER_URL")
    home = Path(os.environ.get("FLUELEDGER_QUEUE", Path.home() / ".flueledger-queue.sqlite3"))
    parser.add_argument("--queue", type=Path, default=home, help=f"file of the queue (default {home})")
    parser.add_argument("--queue-only", action="store_true", help="keep it on disk and send nothing yet")
    what = parser.add_subparsers(dest="what", metavar="visit | log | queue")
    visit = what.add_parser("visit", help="one visit from a JSON file, as PUT takes it, without save_no")
    visit.add_argument("file", type=Path)
    visit.add_argument("--uuid", help="of the visit; else the file's `uuid`, else a new one")
    _log_arguments(what.add_parser("log", help="an analyser's log from a CSV as one firing test"))
    shown = what.add_parser("queue", help="what waits and what was refused")
    shown.add_argument("--drop", type=int, metavar="N", help="forget a refused save that was seen to")
    return parser


def _log_arguments(log: argparse.ArgumentParser) -> None:
    log.add_argument("file", type=Path)
    log.add_argument("--visit", help="UUID of the visit that it belongs to; else a new one is opened")
    log.add_argument("--appliance", help="UUID, tag or serial; needed for a new visit")
    log.add_argument("--analyser", help="UUID, tag or serial")
    log.add_argument("--kind", choices=KINDS, default="annual_service")
    log.add_argument("--key", help="of the firing test; else made of phase and point")
    log.add_argument("--burner", type=int, help="its position; else the first")
    log.add_argument("--point", choices=("high", "low"), required=True)
    log.add_argument("--phase", choices=("as_found", "working", "as_left"), required=True)
    log.add_argument("--time", required=True, metavar="HEADER", help="column with the time of each row")
    log.add_argument("--time-format", metavar="FORMAT", help="as of strptime; else ISO 8601")
    log.add_argument("--zone", help="of times that name none: Europe/London, +01:00")
    log.add_argument(
        "--column", action="append", default=[], metavar="READING=HEADER", help="such as o2_pct=O2"
    )
    log.add_argument(
        "--scale", action="append", default=[], metavar="READING=FACTOR", help="from the column to the unit"
    )
    log.add_argument("--separator", default=",", help="one character, or tab")
    log.add_argument("--decimal-mark", choices=(".", ","), default=".")
    log.add_argument("--encoding", default="utf-8-sig")


def _client(options: argparse.Namespace, queue: Queue) -> Client:
    token = os.environ.get("FLUELEDGER_TOKEN")
    if not options.address or not token:
        raise SystemExit("Set FLUELEDGER_TOKEN, and FLUELEDGER_URL or --address.")
    return Client(options.address, token, queue=queue)


def _queue_visit(queue: Queue, options: argparse.Namespace) -> None:
    body = json.loads(options.file.read_text(encoding="utf-8"))
    if not isinstance(body, dict):
        raise ValueError(f"{options.file}: the visit must be a JSON object")
    named = body.pop("uuid", None)
    body.pop("save_no", None)
    save = queue.add(options.uuid or named or Client.new_visit(), body)
    print(f"visit {save.visit}, save {save.save_no}: on disk")


def _queue_log(queue: Queue, options: argparse.Namespace) -> None:
    layout = Layout(
        time=options.time,
        columns=_pairs(options.column),
        scale={name: float(factor) for name, factor in _pairs(options.scale).items()},
        time_format=options.time_format,
        zone=zone_of(options.zone) if options.zone else None,
        separator="\t" if options.separator in ("tab", "\\t") else options.separator,
        decimal_mark=options.decimal_mark,
    )
    with options.file.open(encoding=options.encoding, newline="") as lines:
        readings = readings_of(lines, layout)
    if not readings:
        raise LogError(f"{options.file}: no reading in the named columns")
    visit = options.visit or Client.new_visit()
    body = _known_body(queue, visit, options, readings[0]["at"])
    key = options.key or f"{options.phase}-{options.point}"
    known = body.get("tests", [])
    tests = [row for row in known if row.get("key") != key]
    held = [row["sequence"] for row in known if row.get("key") == key and row.get("sequence")]
    sequence = held[0] if held else 1 + max((row.get("sequence") or 0 for row in tests), default=0)
    test = {"key": key, "point": options.point, "phase": options.phase, "sequence": sequence}
    if options.burner is not None:
        test["burner"] = options.burner
    save = queue.add(visit, {**body, "tests": [*tests, {**test, "readings": readings}]})
    print(f"visit {save.visit}, save {save.save_no}: {len(readings)} readings as {key}, on disk")


def _known_body(queue: Queue, visit: str, options: argparse.Namespace, opened_at: str) -> dict[str, Any]:
    """The visit as this device last knew it, or a new one."""
    last = queue.latest(visit)
    if last is not None:
        return last.body
    if not options.appliance:
        raise ValueError("--appliance is needed: this device knows no such visit yet")
    body = {"appliance": options.appliance, "kind": options.kind, "opened_at": opened_at}
    return {**body, "analyser": options.analyser} if options.analyser else body


def _pairs(texts: Sequence[str]) -> dict[str, str]:
    pairs = {}
    for text in texts:
        name, sign, value = text.partition("=")
        if not sign or not value:
            raise ValueError(f"{text!r} must read NAME=VALUE")
        pairs[name] = value
    return pairs


def _send(client: Client) -> int:
    refused = False
    for sent in client.send():
        _tell(sent)
        refused = refused or not sent.saved
    waiting = client.queue.waiting()
    if waiting:
        print(f"{len(waiting)} saves wait for {client.waits_for or 'signal'}; run flueledger-send again")
    return REFUSED if refused else WAITING if waiting else DONE


def _tell(sent: Sent) -> None:
    """What needs hands first: make safe, then findings, what is not put back, advice."""
    body, name = sent.answer.body, f"visit {sent.save.visit}, save {sent.save.save_no}"
    if sent.make_safe:
        print(f"MAKE SAFE: {sent.make_safe}")
    if not sent.saved:
        print(f"{name}: REFUSED {sent.answer.status} {body.get('code')}: {body.get('detail')}")
        for row in [*body.get("errors", []), *body.get("conflicts", []), *body.get("differs", [])]:
            print(f"  {json.dumps(row, ensure_ascii=False)}")
        return
    print(f"{name}: stored as revision {body['revision']}")
    for row in body["findings"]:
        print(f"  {row['severity']}: {row['sentence']} {row['what_to_do']}")
    for row in body["not_put_back"]:
        print(f"  not put back: {row['what']} (was {row['was']})")
    for row in body["advice"]:
        print(f"  advice: {row['text']}")
    print(f"  {body['caution']}")


def _show(queue: Queue, drop: int | None) -> int:
    if drop is not None and not queue.drop(drop):
        print(f"no refused save has the number {drop}", file=sys.stderr)
        return WRONG_USE
    now = datetime.now(UTC)
    for save in queue.waiting():
        age_min = (now - datetime.fromisoformat(save.made_at)).total_seconds() / 60
        print(
            f"{save.id}: visit {save.visit}, save {save.save_no} waits {age_min:.0f} min, {save.tries} tries"
        )
    refused = queue.refused()
    for save in refused:
        told = save.answer or {}
        print(
            f"{save.id}: visit {save.visit}, save {save.save_no} REFUSED {save.status}: {told.get('detail')}"
        )
    return REFUSED if refused else DONE


if __name__ == "__main__":
    raise SystemExit(main())
