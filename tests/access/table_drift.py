"""Who may open the drift pages. What no run has found yet is not found."""

from tests.access.table import Row, office
from tests.access.table_web import FIRM, OFFICE, of_appliance, only

NO_SUCH_ROW = office(404, anonymous=302)
SWITCHED_OFF = only("manager", "administrator", "technician", status=404)


def a_period(**_):
    return {"pk": 1}


def a_gas_month(**_):
    return {"pk": 1, "year": 2026, "month": 3}


def an_alert(**_):
    return {"pk": 1}


ROWS = [
    Row("GET", "web:alerts", OFFICE),
    Row("POST", "web:alert-acknowledge", NO_SUCH_ROW, kwargs=an_alert),
    Row("GET", "web:earlier-list", OFFICE),
    Row("GET", "web:earlier", OFFICE, kwargs=of_appliance),
    Row("POST", "web:earlier", OFFICE, kwargs=of_appliance, note="where nothing is proposed"),
    Row("GET", "web:wanderers", OFFICE),
    Row("GET", "web:models", OFFICE),
    Row("GET", "web:analysers", OFFICE),
    Row("GET", "web:analyser-period", NO_SUCH_ROW, kwargs=a_period),
    Row("GET", "web:gas", OFFICE),
    Row("GET", "web:gas-month", NO_SUCH_ROW, kwargs=a_gas_month),
    Row("GET", "web:trends", OFFICE),
    Row("GET", "web:costs", OFFICE),
    Row("GET", "web:technicians", SWITCHED_OFF),
    Row("GET", "web:evidence", FIRM, kwargs=of_appliance),
]
