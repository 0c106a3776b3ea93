"""Who may read what of the fleet. Lists hold only what a person may see: see tests/fleet/test_api.py."""

from tests.access.table import Row, everyone, firm


def of_appliance(side, **_):
    return {"uuid": side.appliance.uuid}


def methane(**_):
    return {"slug": "methane"}


ROWS = [
    Row("GET", "fuels", everyone()),
    Row("GET", "fuel", everyone(), kwargs=methane),
    Row("GET", "customers", everyone()),
    Row("GET", "sites", everyone()),
    Row("GET", "plants", everyone()),
    Row("GET", "appliances", everyone()),
    Row("GET", "appliance", everyone(), theirs=firm(contact=404), kwargs=of_appliance),
    Row("GET", "analysers", firm()),
    Row("GET", "models", firm()),
]
