"""Who may read what of the fleet. Lists hold only what a person may see: see tests/fleet/test_api.py."""

from uuid import uuid4

from tests.access.table import Row, everyone, firm, office


def of_appliance(side, **_):
    return {"uuid": side.appliance.uuid}


def for_appliance(side, **_):
    return {"appliance": side.appliance.uuid}


def methane(**_):
    return {"slug": "methane"}


def a_gas(**_):
    return {"composition": {"methane": 1.0}}


def readings(**_):
    return {"fuel": "methane", "o2_pct": 4.0}


def a_clocked_meter(**_):
    return {"fuel": "methane", "volume_m3": 0.1, "seconds": 36.0}


def a_gas_report(side, **_):
    return {
        "site": side.site.pk,
        "composition": {"methane": 1.0},
        "from_on": "2026-01-01",
        "source": "the supplier's report",
    }


def with_advice(side, **_):
    """The world's own event is the newest that anybody has seen."""
    return {
        "key": str(uuid4()),
        "state": "with_advice",
        "reason": "draughty",
        "last_event": side.safety_event.pk,
    }


ROWS = [
    Row("GET", "fuels", everyone()),
    Row("GET", "fuel", everyone(), kwargs=methane),
    Row("POST", "fuel-properties", everyone(), body=a_gas),
    Row("POST", "flue-gas", firm(), body=readings),
    Row("POST", "gas-rate", firm(), body=a_clocked_meter),
    Row("POST", "gas-reports", office(), body=a_gas_report),
    Row("GET", "customers", everyone()),
    Row("GET", "sites", everyone()),
    Row("GET", "plants", everyone()),
    Row("GET", "appliances", everyone()),
    Row("GET", "appliance", everyone(), theirs=firm(contact=404), kwargs=of_appliance),
    Row("GET", "item-sets", firm(), query=for_appliance),
    Row("GET", "safety", firm(), kwargs=of_appliance),
    Row("POST", "safety", firm(201), kwargs=of_appliance, body=with_advice),
    Row("GET", "analysers", firm()),
    Row("GET", "models", firm()),
]
