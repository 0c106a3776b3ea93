"""Accounts by invitation."""

import re

from django.urls import reverse

from people.models import User

GUEST = {"first_name": "Ada", "last_name": "Quill", "email": "Ada.Quill@aldermere.example"}


def test_an_invited_contact_chooses_a_password_and_reads_the_sites_named(
    fleet, page_of, client, mailoutbox, django_capture_on_commit_callbacks
) -> None:
    typed = GUEST | {"role": "contact", "site_text": f"{fleet.site.customer} / {fleet.site.name.upper()}"}
    with django_capture_on_commit_callbacks(execute=True):
        answer = page_of(fleet.office).post(reverse("web:invite"), typed)
    assert answer.status_code == 302
    person = User.objects.get(username="ada.quill@aldermere.example")
    assert not person.has_usable_password()
    link = re.search(r"http://testserver(\S+)", mailoutbox[0].body)[1]
    form = client.get(link, follow=True)
    chosen = {"new_password1": "a-quiet-burner-9", "new_password2": "a-quiet-burner-9"}
    client.post(form.redirect_chain[-1][0], chosen)
    person.refresh_from_db()
    assert person.check_password("a-quiet-burner-9")
    assert page_of(person).get(reverse("web:appliance", args=[fleet.appliance.pk])).status_code == 200
    assert page_of(person).get(reverse("web:appliance", args=[fleet.other_appliance.pk])).status_code == 404


def test_a_site_that_is_not_on_file_is_named_and_nobody_is_invited(fleet, page_of, mailoutbox) -> None:
    typed = GUEST | {"role": "contact", "site_text": "Nowhere / Nothing"}
    answer = page_of(fleet.office).post(reverse("web:invite"), typed)
    assert "No site is on file as «Nowhere / Nothing»." in answer.context["form"].errors["site_text"]
    assert "Ada.Quill@aldermere.example" in answer.text
    assert mailoutbox == []


def test_an_address_that_has_an_account_is_refused_beside_its_field(fleet, page_of) -> None:
    typed = GUEST | {"role": "technician", "email": fleet.technician.username}
    answer = page_of(fleet.office).post(reverse("web:invite"), typed)
    assert "There is an account" in answer.context["form"].errors["email"][0]


def test_the_office_cannot_make_an_administrator(fleet, page_of) -> None:
    answer = page_of(fleet.office).post(reverse("web:invite"), GUEST | {"role": "administrator"})
    assert "role" in answer.context["form"].errors
    assert page_of(fleet.office).post(reverse("web:account-end", args=[fleet.manager.pk])).status_code == 403


def test_an_ended_account_cannot_go_on_and_its_visits_stay(fleet, page_of) -> None:
    client = page_of(fleet.technician)
    page_of(fleet.office).post(reverse("web:account-end", args=[fleet.technician.pk]))
    assert client.get(reverse("web:my-day")).status_code == 302
    fleet.visit.refresh_from_db()
    assert fleet.visit.technician == fleet.technician
