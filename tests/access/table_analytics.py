"""Who may read what the fleet taught: the firm's people, and no customer's contact."""

from tests.access.table import Row, firm


def as_sheet(**_):
    return {"format": "csv"}


ROWS = [
    Row("GET", "drift", firm()),
    Row("GET", "drift", firm(), query=as_sheet, note="as a sheet"),
    Row("GET", "analyser-bias", firm()),
    Row("GET", "analyser-bias", firm(), query=as_sheet, note="as a sheet"),
]
