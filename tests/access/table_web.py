"""Who may open which page. Whoever has not signed in is sent to sign in (302)."""

from tests.access.table import Row, Statuses, everyone, firm, office
from tests.access.world import token_of

PUBLIC = everyone(200, anonymous=200)
SIGNED_IN = everyone(200, anonymous=302)
FIRM = firm(200, anonymous=302)
OFFICE = office(200, anonymous=302)
SENT_ON = office(302, anonymous=302)
OWN_SITE_ONLY = firm(200, contact=404, anonymous=302)


def only(*roles: str, status: int = 200) -> Statuses:
    """These roles; anyone else who has signed in is told that the page is not theirs."""
    return everyone(403, anonymous=302) | dict.fromkeys(roles, status)


def of_customer(side, **_):
    return {"pk": side.site.customer_id}


def of_site(side, **_):
    return {"pk": side.site.pk}


def of_plant(side, **_):
    return {"pk": side.plant.pk}


def for_plant(side, **_):
    return {"plant_pk": side.plant.pk}


def of_appliance(side, **_):
    return {"pk": side.appliance.pk}


def for_appliance(side, **_):
    return {"appliance_pk": side.appliance.pk}


def of_closed_visit(side, **_):
    return {"uuid": side.closed_visit.uuid}


def of_closed_attendance(side, **_):
    return {"uuid": side.closed_visit.attendance.uuid}


def an_unknown_code(**_):
    return {"code": "0000-0000-0000"}


def of_open_visit(side, **_):
    return {"uuid": side.open_visit.uuid}


def of_attendance(side, **_):
    return {"pk": side.attendance.pk}


def of_technician(side, **_):
    return {"pk": side.technician.pk}


def of_contact(side, **_):
    return {"pk": side.contact.pk}


def of_finding(side, **_):
    return {"pk": side.finding.pk}


def of_follow_up(side, **_):
    return {"pk": side.follow_up.pk}


def a_new_record(kind):
    def words(side, **_):
        above = {"customer": 0, "appliance": side.plant.pk, "contract": side.site.customer_id, "analyser": 0}
        above |= {"price": 0, "customer-price": side.site.customer_id}
        return {"kind": kind, "parent": above[kind]}

    return words


def a_record(kind):
    def words(side, **_):
        row = side.site.customer if kind == "customer" else getattr(side, kind)
        return {"kind": kind, "pk": row.pk}

    return words


def of_safety_event(side, **_):
    return {"pk": side.safety_event.pk}


def of_device(side, person, mine, **_):
    return {"pk": token_of(person if mine and person is not None else side.technician).pk}


def a_device(**_):
    return {"device-name": "van tablet"}


def a_spent_link(**_):
    return {"uidb64": "MQ", "token": "spent"}


def a_list(**_):
    return {"kind": "customers", "form": "csv"}


def a_month(**_):
    return {"year": 2026, "month": 3}


def of_sign_in(method: str) -> Row:
    """A person who has signed in is sent on."""
    return Row(method, "web:sign-in", everyone(302, anonymous=200))


ROWS = [
    of_sign_in("GET"),
    of_sign_in("POST"),
    of_sign_in("PUT"),
    Row("POST", "web:sign-out", everyone(302, anonymous=302)),
    *(Row(method, "web:reset", PUBLIC) for method in ("GET", "POST", "PUT")),
    Row("GET", "web:reset-sent", PUBLIC),
    *(Row(method, "web:new-password", PUBLIC, kwargs=a_spent_link) for method in ("GET", "POST", "PUT")),
    Row("GET", "web:healthz", PUBLIC),
    Row("GET", "web:readyz", PUBLIC),
    Row("GET", "web:home", everyone(302, anonymous=302)),
    Row("GET", "web:docs", SIGNED_IN),
    Row("GET", "web:problems", SIGNED_IN),
    Row("GET", "web:account", SIGNED_IN),
    Row("POST", "web:account", SIGNED_IN, note="with nothing filled in"),
    Row("POST", "web:device-issue", FIRM, body=a_device),
    Row(
        "POST",
        "web:device-end",
        firm(302, anonymous=302),
        theirs=firm(404, anonymous=302),
        kwargs=of_device,
    ),
    Row("GET", "web:today", OFFICE),
    Row("GET", "web:due", FIRM),
    Row("GET", "web:findings", FIRM),
    Row("GET", "web:finding", FIRM, kwargs=of_finding),
    Row("POST", "web:finding", FIRM, kwargs=of_finding, note="with nothing filled in"),
    Row("GET", "web:flue-gas", FIRM),
    Row("GET", "web:limits", FIRM),
    Row("GET", "web:limit-set", only("administrator")),
    Row("POST", "web:limit-set", only("administrator"), note="with nothing filled in"),
    Row("GET", "web:search", FIRM),
    Row("GET", "web:customers", FIRM),
    Row("GET", "web:customer", FIRM, kwargs=of_customer),
    Row("GET", "web:site", FIRM, kwargs=of_site),
    Row("GET", "web:plant", FIRM, kwargs=of_plant),
    Row("GET", "web:bookings", OFFICE),
    Row("POST", "web:cancel", SENT_ON, kwargs=of_attendance),
    Row("GET", "web:book", OFFICE, kwargs=for_plant),
    Row("POST", "web:book", OFFICE, kwargs=for_plant, note="with nothing filled in"),
    Row("GET", "web:licence-check", OFFICE, kwargs=for_plant),
    Row("GET", "web:contracts", OFFICE),
    Row("GET", "web:lists", OFFICE),
    Row("POST", "web:lists", OFFICE, note="with nothing filled in"),
    Row("POST", "web:list-apply", SENT_ON, note="with nothing previewed"),
    Row("GET", "web:list-download", OFFICE, kwargs=a_list),
    Row("GET", "web:kit", OFFICE),
    Row("GET", "web:crew", OFFICE),
    *(
        Row(method, "web:record-add", OFFICE, kwargs=a_new_record(kind), note=f"{kind}, nothing filled in")
        for method in ("GET", "POST")
        for kind in ("customer", "appliance", "contract", "analyser", "price", "customer-price")
    ),
    *(
        Row(method, "web:record-change", OFFICE, kwargs=a_record(kind), note=f"{kind}, nothing filled in")
        for method in ("GET", "POST")
        for kind in ("customer", "site", "plant", "appliance")
    ),
    Row("GET", "web:follow-up", OFFICE, kwargs=of_follow_up),
    Row("POST", "web:follow-up", OFFICE, kwargs=of_follow_up, note="with nothing filled in"),
    Row("GET", "web:accounts", OFFICE),
    Row("GET", "web:invite", OFFICE),
    Row("POST", "web:invite", OFFICE, note="with nothing filled in"),
    Row("GET", "web:account-sites", OFFICE, kwargs=of_contact),
    Row("POST", "web:account-sites", OFFICE, kwargs=of_contact, note="with nothing filled in"),
    Row("POST", "web:invite-again", SENT_ON, kwargs=of_technician),
    Row("POST", "web:account-end", SENT_ON, kwargs=of_technician),
    Row("GET", "web:my-day", only("technician")),
    Row("GET", "web:begin-visit", firm(302, anonymous=302), kwargs=for_appliance),
    Row("GET", "web:enter-visit", FIRM, theirs=office(200, anonymous=302), kwargs=of_open_visit),
    Row("POST", "web:enter-visit", firm(422, anonymous=302), theirs=office(422, anonymous=302),
        kwargs=of_open_visit, note="with nothing filled in"),
    Row("GET", "web:correct-visit", FIRM, theirs=office(200, anonymous=302), kwargs=of_closed_visit),
    Row("POST", "web:correct-visit", firm(422, anonymous=302), theirs=office(422, anonymous=302),
        kwargs=of_closed_visit, note="with nothing filled in"),
    Row("GET", "web:correct-visit", firm(302, anonymous=302), theirs=office(302, anonymous=302),
        kwargs=of_open_visit, note="an open visit is gone on with"),
    Row("POST", "web:correct-visit", firm(302, anonymous=302), theirs=office(302, anonymous=302),
        kwargs=of_open_visit),
    Row("POST", "web:visit-photographs", firm(302, contact=403, anonymous=302), kwargs=of_closed_visit,
        note="with no file"),
    Row("POST", "web:countersign", firm(302, contact=403, anonymous=302), kwargs=of_closed_visit),
    Row("GET", "web:condition", only("manager", "administrator")),
    Row("GET", "web:condition-months", only("manager", "administrator")),
    Row("GET", "web:condition-month", only("manager", "administrator"), kwargs=a_month),
    Row("GET", "web:my-sites", only("contact")),
    Row("GET", "web:appliance", SIGNED_IN, theirs=OWN_SITE_ONLY, kwargs=of_appliance),
    Row("GET", "web:safety", FIRM, kwargs=of_appliance),
    Row("POST", "web:safety", FIRM, kwargs=of_appliance, note="with nothing filled in"),
    Row("GET", "web:safety-notice", SIGNED_IN, theirs=OWN_SITE_ONLY, kwargs=of_safety_event),
    Row("GET", "web:appliance-story", SIGNED_IN, theirs=OWN_SITE_ONLY, kwargs=of_appliance),
    Row("GET", "web:visit", SIGNED_IN, theirs=OWN_SITE_ONLY, kwargs=of_closed_visit),
    Row("GET", "web:service-record", SIGNED_IN, theirs=OWN_SITE_ONLY, kwargs=of_closed_attendance),
    Row("GET", "web:service-record-pdf", SIGNED_IN, theirs=OWN_SITE_ONLY, kwargs=of_closed_attendance),
    # Open to anyone: whoever holds a copy of a record may ask whether it stands.
    Row("GET", "web:record-check", PUBLIC),
    Row("GET", "web:record-checked", everyone(404, anonymous=404), kwargs=an_unknown_code),
    Row("POST", "web:record-checked", everyone(404, anonymous=404), kwargs=an_unknown_code),
]  # fmt: skip
