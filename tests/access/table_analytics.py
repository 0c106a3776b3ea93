"""Who may read what the fleet taught: the firm's people, and no customer's contact."""

from tests.access.table import Row, firm, office


def as_sheet(**_):
    return {"format": "csv"}


def an_alert(**_):
    return {"pk": 1}


ROWS = [
    Row("GET", "gas-shift", firm()),
    Row("GET", "alerts", office()),
    Row("POST", "alert-acknowledge", office(404), kwargs=an_alert, note="of no alert"),
    Row("GET", "drift", firm()),
    Row("GET", "drift", firm(), query=as_sheet, note="as a sheet"),
    Row("GET", "drift-trends", firm()),
    Row("GET", "drift-trends", firm(), query=as_sheet, note="as a sheet"),
    Row("GET", "drift-costs", firm()),
    Row("GET", "drift-costs", firm(), query=as_sheet, note="as a sheet"),
    Row("GET", "analyser-bias", firm()),
    Row("GET", "analyser-bias", firm(), query=as_sheet, note="as a sheet"),
]
