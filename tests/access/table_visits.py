"""Who may read and write what of the record."""

from uuid import uuid4

from tests.access.table import Row, everyone, firm, office
from tests.access.world import OPENED_AT


def of_closed_visit(side, **_):
    return {"visit_uuid": side.closed_visit.uuid}


def of_open_visit(side, **_):
    return {"visit_uuid": side.open_visit.uuid}


def of_closed_attendance(side, **_):
    return {"attendance_uuid": side.closed_visit.attendance.uuid}


def of_new_visit(**_):
    return {"visit_uuid": uuid4()}


def a_visit(side, **_):
    return {
        "save_no": 1,
        "appliance": str(side.appliance.uuid),
        "kind": "annual_service",
        "opened_at": OPENED_AT,
    }


def a_batch(side, **_):
    return {"visits": [{"uuid": str(uuid4()), "body": a_visit(side)}]}


def a_correction(side, **_):
    closed = {"closed_at": "2026-03-02T10:00:00Z", "outcome": "refused"}
    return a_visit(side) | closed | {"reason": "the caretaker refused us"}


def of_appliance(side, **_):
    return {"uuid": side.appliance.uuid}


def of_photograph(side, **_):
    return {"visit_uuid": side.open_visit.uuid, "key": side.photograph.key}


def no_picture(**_):
    return {"a": "picture is no JSON"}


ROWS = [
    Row("GET", "photographs", everyone(), theirs=firm(contact=404), kwargs=of_open_visit),
    Row("GET", "photograph", everyone(), theirs=firm(contact=404), kwargs=of_photograph),
    # Who may not write the visit, or may, is told that JSON is no picture: the visit itself they see.
    Row("PUT", "photograph", firm(415), kwargs=of_photograph, body=no_picture),
    Row("GET", "put-back-suggestions", firm(), kwargs=of_appliance),
    Row("GET", "visits", everyone()),
    Row("GET", "visit", everyone(), theirs=firm(contact=404), kwargs=of_closed_visit),
    Row("PUT", "visit", firm(201), kwargs=of_new_visit, body=a_visit, note="not yet opened"),
    Row("PUT", "visit", firm(), theirs=office(), kwargs=of_open_visit, body=a_visit, note="open"),
    Row("PUT", "visit", firm(409), theirs=office(409), kwargs=of_closed_visit, body=a_visit, note="closed"),
    Row("POST", "visit-batch", firm(), body=a_batch),
    Row("GET", "visit-now", firm(), kwargs=of_open_visit),
    Row("GET", "visit-corrections", everyone(), theirs=firm(contact=404), kwargs=of_closed_visit),
    Row("POST", "visit-corrections", firm(), theirs=office(), kwargs=of_closed_visit, body=a_correction),
    # Nobody here holds a licence that covers the work: a signature is refused whoever gives it.
    Row("POST", "visit-countersignature", firm(403), kwargs=of_closed_visit),
    Row("GET", "attendance-record", everyone(), theirs=firm(contact=404), kwargs=of_closed_attendance),
    Row("GET", "attendance-record-pdf", everyone(), theirs=firm(contact=404), kwargs=of_closed_attendance),
]
