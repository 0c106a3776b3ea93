"""Who may do what with devices."""

from tests.access.table import Row, everyone
from tests.access.world import PASSWORD, token_of


def own_or_anothers_token(side, person, mine, **_):
    """`mine` is the asking person's own device, whoever they are; `theirs` the other technician's."""
    return {"pk": token_of(person if mine and person is not None else side.technician).pk}


def name_and_password(side, **_):
    return {"username": side.technician.username, "password": PASSWORD, "name": "tablet"}


ROWS = [
    Row("GET", "device-tokens", everyone()),
    Row("POST", "device-tokens", everyone(201, anonymous=201), body=name_and_password),
    Row(
        "DELETE",
        "device-token",
        mine=everyone(204),
        theirs=everyone(404) | {"administrator": 204},
        kwargs=own_or_anothers_token,
    ),
]
