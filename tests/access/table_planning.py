"""Who may read and say what of planning."""

from tests.access.table import Row, everyone, firm, office
from tests.access.table_fleet import of_appliance


def of_follow_up(side, **_):
    return {"pk": side.follow_up.pk}


def a_note(**_):
    return {"note": "seen to by the maker"}


def of_technician(side, **_):
    return {"technician": side.technician.username}


def a_word(**_):
    return {"decision": "declined", "reason": "the plant is replaced in May"}


ROWS = [
    Row("GET", "earlier-visits", office()),
    Row(
        "POST",
        "earlier-visit-decide",
        office(409),
        kwargs=of_appliance,
        body=a_word,
        note="where nothing is proposed",
    ),
    Row("GET", "due", firm()),
    Row("GET", "follow-ups", firm()),
    Row("POST", "follow-up-done", office(), kwargs=of_follow_up, body=a_note),
    Row("GET", "appliance-history", everyone(), theirs=firm(contact=404), kwargs=of_appliance),
    Row("GET", "day", firm(), theirs=office(), query=of_technician),
    Row("GET", "day", office(400, technician=200), note="of nobody named"),
]
