"""The merged document of a visit: what all its devices sent, row by row, each with the device it came from.

Pure: JSON values in, JSON values out. A document is
`{"members": {name: value}, "owners": {name: device}, "rows": {list: {key: {"row": …, "device": …}}}}`.
"""

from collections.abc import Iterator
from copy import deepcopy
from typing import Any

from common.problems import pointer
from visits.payload import ROWS

Document = dict[str, Any]

# Set by whoever comes first: devices open the form at different moments of one visit.
_FIRST_WINS = frozenset({"opened_at", "attendance"})
_OF_THE_SAVE = frozenset({"save_no", "take_over", *ROWS})


def without_nulls(value: Any) -> Any:
    """The JSON value with null members left out, so that absent and null are one."""
    if isinstance(value, dict):
        return {name: without_nulls(item) for name, item in value.items() if item is not None}
    if isinstance(value, list):
        return [without_nulls(item) for item in value]
    return value


def merge(
    document: Document | None, body: dict[str, Any], device: str
) -> tuple[Document, list[dict[str, Any]]]:
    """The document with one device's body merged in, and the conflicts that forbid it.

    Rows merge by key: new ones are added, the device's own are changed, absent ones stay. A row, or a member
    of the visit, that another device owns and that differs is a conflict, reported with both sides, unless
    the body names it in `take_over`: then it is this device's from now on.
    """
    merged: Document = deepcopy(document) if document else {"members": {}, "owners": {}, "rows": {}}
    conflicts = [
        *_merge_members(merged, body, device),
        *(conflict for rows in ROWS for conflict in _merge_rows(merged, rows, body, device)),
    ]
    return merged, conflicts


def taken_over(before: Document, merged: Document, body: dict[str, Any]) -> dict[str, Any]:
    """What stood in the rows and members that a body took from another device, by what it calls them."""
    return {
        name: stood
        for name in body.get("take_over", ())
        if (stood := _named(before, name)) is not None and stood != _named(merged, name)
    }


def _named(document: Document, name: str) -> Any:
    rows, _slash, key = name.partition("/")
    if not key:
        return document["members"].get(name)
    return document["rows"].get(rows, {}).get(key, {}).get("row")


def replaced(document: Document, body: dict[str, Any], device: str) -> Document:
    """A corrected document: the body stands for the whole visit; rows that it repeats keep their device."""
    fresh, _ = merge(None, body, device)
    for rows, kept in document["rows"].items():
        for key, held in kept.items():
            new = fresh["rows"].get(rows, {}).get(key)
            if new is not None and new["row"] == held["row"]:
                new["device"] = held["device"]
    if "attendance" in document["members"]:
        fresh["members"]["attendance"] = document["members"]["attendance"]
    return fresh


def flattened(document: Document) -> dict[str, Any]:
    """The document as a body again, without `save_no`."""
    rows = {name: [held["row"] for held in document["rows"].get(name, {}).values()] for name in ROWS}
    return {**document["members"], **rows}


def differences(document: Document, body: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Where a body differs from the document, as pointers into the body with both sides."""
    for name, value in body.items():
        stored = document["members"].get(name)
        if name not in _OF_THE_SAVE and name not in _FIRST_WINS and stored != value:
            yield {"field": pointer([name]), "stored": stored, "sent": value}
    for rows in ROWS:
        kept = document["rows"].get(rows, {})
        for index, row in enumerate(body.get(rows, ())):
            held = kept.get(row["key"])
            if held is None or held["row"] != row:
                yield {"field": pointer([rows, index]), "stored": held and held["row"], "sent": row}


def _merge_members(merged: Document, body: dict[str, Any], device: str) -> Iterator[dict[str, Any]]:
    members, owners = merged["members"], merged["owners"]
    taken_over = body.get("take_over", ())
    for name, value in body.items():
        if name in _OF_THE_SAVE or (name in _FIRST_WINS and name in members):
            continue
        if name in taken_over and members.get(name) != value:
            owners[name] = device
        if name not in members or owners[name] == device or members[name] == value:
            owners.setdefault(name, device)
            members[name] = value
        else:
            yield {"field": pointer([name]), "stored": members[name], "sent": value}


def _merge_rows(merged: Document, rows: str, body: dict[str, Any], device: str) -> Iterator[dict[str, Any]]:
    kept, taken_over = merged["rows"].setdefault(rows, {}), body.get("take_over", ())
    for index, row in enumerate(body.get(rows, ())):
        held = kept.get(row["key"])
        if held is None:
            kept[row["key"]] = {"row": row, "device": device}
            continue
        changed = {**held["row"], **row} if "withdrawn_reason" in row else row
        if changed == held["row"]:
            continue
        if f"{rows}/{row['key']}" in taken_over:
            held["device"] = device
        if held["device"] == device:
            held["row"] = changed
        else:
            yield {"field": pointer([rows, index]), "stored": held["row"], "sent": row}
