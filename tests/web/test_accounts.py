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


def test_an_invitation_is_sent_again_until_a_password_is_chosen(
    fleet, page_of, mailoutbox, django_capture_on_commit_callbacks
) -> None:
    office = page_of(fleet.office)
    with django_capture_on_commit_callbacks(execute=True):
        office.post(reverse("web:invite"), GUEST | {"role": "technician"})
        person = User.objects.get(username="ada.quill@aldermere.example")
        again = office.post(reverse("web:invite-again", args=[person.pk]), follow=True)
    assert "Invited again: ada.quill@aldermere.example." in again.text
    assert [letter.to for letter in mailoutbox] == [["ada.quill@aldermere.example"]] * 2
    person.set_password("a-quiet-burner-9")
    person.save()
    refused = office.post(reverse("web:invite-again", args=[person.pk]), follow=True)
    assert "has chosen a password already" in refused.text
    assert len(mailoutbox) == 2
    assert office.post(reverse("web:invite-again", args=[fleet.manager.pk])).status_code == 403


def test_a_contact_s_sites_are_changed_and_the_second_editor_sees_what_the_first_did(fleet, page_of) -> None:
    office, address = page_of(fleet.office), reverse("web:account-sites", args=[fleet.contact.pk])
    other = fleet.other_appliance.plant.site
    form = office.get(address).context["form"].initial
    assert form["site_text"] == f"{fleet.site.customer} / {fleet.site}"
    both = {"site_text": f"{form['site_text']}\n{other.customer} / {other}", "seen": form["seen"]}
    assert office.post(address, both).status_code == 302
    assert page_of(fleet.contact).get(reverse("web:site", args=[other.pk])).status_code == 403
    contact = page_of(fleet.contact)
    assert contact.get(reverse("web:appliance", args=[fleet.other_appliance.pk])).status_code == 200
    late = office.post(address, {"site_text": form["site_text"], "seen": form["seen"]})
    assert "Somebody changed this meanwhile" in late.text
    assert contact.get(reverse("web:appliance", args=[fleet.other_appliance.pk])).status_code == 200
    renewed = {"site_text": form["site_text"], "seen": late.context["form"].data["seen"]}
    assert office.post(address, renewed).status_code == 302
    assert contact.get(reverse("web:appliance", args=[fleet.other_appliance.pk])).status_code == 404
    nothing = office.post(address, {"site_text": " ", "seen": ""})
    assert "A contact reads at least one site." in nothing.context["form"].errors["site_text"]
