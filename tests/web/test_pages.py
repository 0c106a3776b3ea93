"""Who sees which page, what stands on it, and that no page does more queries when there is more to show."""

import csv
import io
import re
from collections.abc import Callable
from datetime import timedelta

import pytest
import tablib
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from analytics.alerting import alerts_raise
from common.sheets import inert
from fleet.models import AnalyserPeriod, SiteContact
from people.models import Role, User
from planning.models import DueDate
from tests import factories as make
from tests.web.conftest import TODAY
from tests.web.drift_rows import a_run
from tests.web.small_fleet import PASSWORD, SmallFleet, firing_test, person
from visits.models import Finding
from web.urls import urlpatterns

SignedIn = Callable[[User], Client]
DISCLAIMER = "It does not say that an appliance is safe."


def test_every_page_says_who_may_open_it() -> None:
    silent = [pattern.name for pattern in urlpatterns if not hasattr(pattern.callback, "page_roles")]
    assert silent == []


def test_nobody_signed_in_is_sent_to_the_sign_in_page(fleet: SmallFleet, client: Client) -> None:
    address = reverse("web:appliance", args=[fleet.appliance.pk])
    answer = client.get(address)
    assert answer.status_code == 302
    assert answer.headers["Location"] == f"{reverse('web:sign-in')}?next={address}"


def test_a_wrong_password_says_so_and_keeps_the_name(fleet: SmallFleet, client: Client) -> None:
    name = fleet.office.username
    answer = client.post(reverse("web:sign-in"), {"username": name, "password": "wrong"})
    assert answer.status_code == 200
    assert f'value="{name}"' in answer.text
    assert 'role="alert"' in answer.text


def test_too_many_wrong_passwords_lock_the_name_for_a_while(
    fleet: SmallFleet, client: Client, settings: object
) -> None:
    address = reverse("web:sign-in")
    for _ in range(settings.AXES_FAILURE_LIMIT):
        client.post(address, {"username": fleet.office.username, "password": "wrong"})
    answer = client.post(address, {"username": fleet.office.username, "password": PASSWORD})
    assert answer.status_code == 429
    assert "_auth_user_id" not in client.session


def test_a_forgotten_password_is_renewed_by_e_mail(
    fleet: SmallFleet, client: Client, mailoutbox: list
) -> None:
    client.post(reverse("web:reset"), {"email": fleet.office.email})
    link = re.search(r"http://testserver(\S+)", mailoutbox[0].body)[1]
    form = client.get(link, follow=True)
    chosen = {"new_password1": "a-quiet-burner-9", "new_password2": "a-quiet-burner-9"}
    assert client.post(form.redirect_chain[-1][0], chosen).status_code == 302
    fleet.office.refresh_from_db()
    assert fleet.office.check_password("a-quiet-burner-9")


def test_an_address_unknown_to_us_sends_no_mail_and_answers_alike(
    db: None, client: Client, mailoutbox: list
) -> None:
    answer = client.post(reverse("web:reset"), {"email": "nobody@tarnholt.example"})
    assert answer.status_code == 302
    assert mailoutbox == []


@pytest.mark.parametrize("name", ["due", "customers", "search"])
def test_a_contact_may_not_open_the_firms_lists(fleet: SmallFleet, page_of: SignedIn, name: str) -> None:
    assert page_of(fleet.contact).get(reverse(f"web:{name}")).status_code == 403


def test_a_contact_reads_their_own_site_and_finds_nothing_of_anothers(
    fleet: SmallFleet, page_of: SignedIn
) -> None:
    own = reverse("web:appliance", args=[fleet.appliance.pk])
    visit = reverse("web:visit", args=[fleet.visit.uuid])
    assert page_of(fleet.contact).get(own).status_code == 200
    assert page_of(fleet.contact).get(visit).status_code == 200
    assert page_of(fleet.stranger).get(own).status_code == 404
    assert page_of(fleet.stranger).get(visit).status_code == 404
    assert page_of(fleet.stranger).get(own + "story/").status_code == 404


def test_a_grave_finding_stands_before_the_heading_and_nothing_says_safe(
    fleet: SmallFleet, page_of: SignedIn
) -> None:
    for address in (
        reverse("web:visit", args=[fleet.grave_visit.uuid]),
        reverse("web:appliance", args=[fleet.other_appliance.pk]),
    ):
        text = page_of(fleet.technician).get(address).text.replace(DISCLAIMER, "")
        assert text.index("Make safe. Leave it off.") < text.index("<h1>")
        assert not re.search(r"\b(is|are|now|declared) safe\b", text, re.IGNORECASE)


def test_a_grave_finding_that_no_longer_holds_raises_no_alarm(fleet: SmallFleet, page_of: SignedIn) -> None:
    Finding.objects.filter(code="co_make_safe").update(holds=False)
    text = page_of(fleet.office).get(reverse("web:visit", args=[fleet.grave_visit.uuid])).text
    assert "Make safe. Leave it off." not in text
    assert "Withdrawn by a later judgement" in text


def test_the_same_numbers_stand_in_figure_table_and_file(fleet: SmallFleet, page_of: SignedIn) -> None:
    client = page_of(fleet.office)
    answer = client.get(reverse("web:appliance", args=[fleet.appliance.pk]))
    drawn = next(
        trace for trace in answer.context["charts"][0]["figure"]["data"] if trace.get("name") == "as found"
    )
    lines = client.get(reverse("web:appliance-story", args=[fleet.appliance.pk])).getvalue().decode()
    rows = [line for line in csv.DictReader(io.StringIO(lines)) if line["firing_point"] == "High fire"]
    assert [float(line["found_co2_pct"]) for line in rows] == drawn["y"]
    assert len(rows) == 6
    assert all(f"{value:.2f}" in answer.text for value in drawn["y"])
    assert rows[0]["accept_high_co2_pct"] == "9.5"
    book = client.get(reverse("web:appliance-story", args=[fleet.appliance.pk]), {"as": "xlsx"}).content
    high = [row for row in tablib.Dataset().load(book, "xlsx").dict if row["firing_point"] == "High fire"]
    assert [row["found_co2_pct"] for row in high] == drawn["y"]


def test_a_us_reader_sees_fahrenheit_and_the_record_stays_si(fleet: SmallFleet, page_of: SignedIn) -> None:
    client = page_of(fleet.office)
    address = reverse("web:visit", args=[fleet.visit.uuid])
    assert "61.5" in client.get(address).text
    client.post(reverse("web:account"), {"units": "us", "theme": ""})
    text = client.get(address).text
    assert "°F" in text
    assert "143" in text
    assert "61.5" not in text
    assert fleet.visit.firingtests.first().flue_temp_c == 61.5


def test_the_theme_is_kept_on_the_device(fleet: SmallFleet, page_of: SignedIn) -> None:
    client = page_of(fleet.office)
    client.post(reverse("web:account"), {"units": "si", "theme": "dark"})
    assert 'data-theme="dark"' in client.get(reverse("web:due")).text
    client.cookies["theme"] = '"><script>'
    assert "data-theme" not in client.get(reverse("web:due")).text


def test_a_device_token_is_shown_once_and_can_be_ended(fleet: SmallFleet, page_of: SignedIn) -> None:
    client = page_of(fleet.technician)
    answer = client.post(reverse("web:device-issue"), {"device-name": "phone"})
    text = answer.context["token"]
    assert text in answer.text
    assert text not in client.get(reverse("web:account")).text
    token = fleet.technician.device_tokens.get()
    assert page_of(fleet.office).post(reverse("web:device-end", args=[token.pk])).status_code == 404
    client.post(reverse("web:device-end", args=[token.pk]))
    token.refresh_from_db()
    assert token.revoked_at is not None


def test_overdue_stands_first_and_weeks_follow(fleet: SmallFleet, page_of: SignedIn) -> None:
    text = page_of(fleet.office).get(reverse("web:due")).text
    assert text.index('id="overdue"') < text.index('id="follow-ups"') < text.index('id="weeks"')
    overdue = text[text.index('id="overdue"') : text.index('id="follow-ups"')]
    assert f"/appliances/{fleet.appliance.pk}/" in overdue
    assert f"/appliances/{fleet.other_appliance.pk}/" not in overdue


def test_a_part_of_the_due_list_is_read_page_by_page(
    fleet: SmallFleet, page_of: SignedIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("web.views.due.ROWS", 2)
    for number in range(4):
        row = make.ApplianceFactory(tag=f"late-{number}")
        due = TODAY - timedelta(days=100 - number)
        DueDate.objects.create(
            appliance=row, due_on=due, window_from=due, window_to=due, rule="from_last_done"
        )
    client, seen, after = page_of(fleet.office), [], ""
    while True:
        answer = client.get(reverse("web:due"), {"part": "overdue", "after": after})
        seen += [row.appliance.tag for row in answer.context["overdue"].rows]
        after = answer.context["overdue"].after
        if not after:
            break
    assert seen == ["late-0", "late-1", "late-2", "late-3", "B1"]


def test_the_due_list_is_narrowed_by_what_a_customers_name_holds(
    fleet: SmallFleet, page_of: SignedIn
) -> None:
    client = page_of(fleet.office)
    assert len(client.get(reverse("web:due"), {"customer": "schools"}).context["overdue"].rows) == 1
    assert len(client.get(reverse("web:due"), {"customer": "hospital"}).context["overdue"].rows) == 0


@pytest.mark.parametrize("odd", ["2026-13-45.1", "x", "2026-01-01.", "2026-01-01." + "9" * 30, "\x00"])
def test_an_odd_key_in_the_address_shows_the_beginning(
    fleet: SmallFleet, page_of: SignedIn, odd: str
) -> None:
    answer = page_of(fleet.office).get(reverse("web:due"), {"part": "overdue", "after": odd, "gas_area": odd})
    assert answer.status_code == 200
    assert len(answer.context["overdue"].rows) == 1


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("fenwick", {"sites", "plants", "appliances"}),
        ("aldermere schools", {"customers", "sites"}),
        ("B1", {"appliances"}),
        ("b1 boiler", {"appliances"}),
        ("zzz", set()),
    ],
)
def test_one_search_looks_through_the_whole_fleet(
    fleet: SmallFleet, page_of: SignedIn, text: str, found: set[str]
) -> None:
    answer = page_of(fleet.office).get(reverse("web:search"), {"q": text})
    kinds = {
        kind
        for kind in ("customers", "sites", "plants", "appliances")
        if getattr(answer.context["found"], kind)
    }
    if text == "B1":
        kinds -= {"customers", "sites", "plants"}
    assert kinds == found


def test_cells_that_a_spreadsheet_would_run_are_made_inert() -> None:
    assert [inert(text)[0] for text in ("=1+1", "+1", "-1", "@x", "\tx", "\rx")] == ["'"] * 6
    assert inert("B1") == "B1"
    assert inert(-1.5) == -1.5


def test_the_policy_forbids_inline_script_and_style_and_no_page_has_any(
    fleet: SmallFleet, page_of: SignedIn
) -> None:
    answer = page_of(fleet.office).get(reverse("web:appliance", args=[fleet.appliance.pk]))
    policy = answer.headers["Content-Security-Policy"]
    assert "unsafe-inline" not in policy
    assert "unsafe-eval" not in policy
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=", answer.text)
    inline = re.findall(r"<script(?![^>]*\bsrc=)[^>]*>", answer.text)
    assert all('type="application/json"' in tag for tag in inline)


def _queries(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as caught:
        assert client.get(address).status_code == 200
    return len(caught)


def _more_of_everything(fleet: SmallFleet, numbers: range) -> None:
    for number in numbers:
        row = make.ApplianceFactory(
            plant=fleet.appliance.plant if number % 2 else make.PlantFactory(site=fleet.site),
            model=fleet.appliance.model,
            tag=f"more-{number}",
        )
        due = TODAY + timedelta(days=number - 80)
        DueDate.objects.create(
            appliance=row,
            due_on=due,
            window_from=due,
            window_to=due + timedelta(days=60),
            rule="from_last_done",
        )
        visit = make.VisitFactory(
            appliance=fleet.appliance,
            attendance=fleet.visit.attendance,
            closed_at=fleet.visit.opened_at,
            outcome="completed",
        )
        firing_test(visit, "high", "as_found", 9.1, 0)
        firing_test(fleet.visit, "high", "working", 9.1, 10 + number)
        Finding.objects.create(
            visit=visit,
            appliance=fleet.appliance,
            code="not_settled",
            severity="note",
            made_at=visit.opened_at,
        )
        make.CustomerFactory()
        make.ContractFactory(customer=fleet.site.customer)
        make.AttendanceFactory(plant=row.plant, local_on=TODAY)
        SiteContact.objects.create(site=fleet.site, user=make.UserFactory(role=Role.CONTACT))


def test_no_page_asks_the_database_more_often_when_there_is_more_to_show(
    fleet: SmallFleet, page_of: SignedIn
) -> None:
    """Session and user cost two queries on every page; what each page adds is listed beside its selector."""
    client = page_of(fleet.office)
    addresses = [
        reverse("web:due"),
        reverse("web:due") + "?part=weeks",
        reverse("web:customers"),
        reverse("web:customer", args=[fleet.site.customer_id]),
        reverse("web:site", args=[fleet.site.pk]),
        reverse("web:plant", args=[fleet.appliance.plant_id]),
        reverse("web:appliance", args=[fleet.appliance.pk]),
        reverse("web:visit", args=[fleet.visit.uuid]),
        reverse("web:search") + "?q=more",
        reverse("web:today"),
        reverse("web:findings") + "?severity=note",
        reverse("web:bookings"),
        reverse("web:contracts"),
        reverse("web:accounts"),
    ]
    alerts_raise(a_run(fleet, TODAY), now=timezone.now())
    addresses += [
        reverse("web:wanderers") + "?show=all",
        reverse("web:evidence", args=[fleet.appliance.pk]),
        reverse("web:models"),
        reverse("web:analysers"),
        reverse("web:analyser-period", args=[AnalyserPeriod.objects.get().pk]),
        reverse("web:gas"),
        reverse("web:alerts"),
        reverse("web:earlier-list"),
        reverse("web:earlier", args=[fleet.appliance.pk]),
    ]
    managed = [reverse("web:condition"), reverse("web:condition-month", args=[TODAY.year, TODAY.month])]
    boss = page_of(person("boss", Role.ADMINISTRATOR))
    _more_of_everything(fleet, range(2))
    client.get(reverse("web:appliance", args=[fleet.appliance.pk]))  # what a run keeps is read once a process
    few = {address: _queries(client, address) for address in addresses}
    few |= {address: _queries(boss, address) for address in managed}
    _more_of_everything(fleet, range(2, 50))
    many = {address: _queries(client, address) for address in addresses}
    many |= {address: _queries(boss, address) for address in managed}
    assert few == many
