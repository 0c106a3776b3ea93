"""Issued once, superseded by a correction, compared by anyone who holds the code."""

import hashlib
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from common.canonical import packed, unpacked
from fleet.models import Appliance
from people.throttling import PersonThrottle, RecordCheckThrottle
from visits.models import ServiceRecord, Visit, VisitRecord
from visits.service_record.checking import Standing, record_check
from visits.service_record.codes import ALPHABET, code_new, code_read, code_shown
from visits.service_record.issuing import record_digest, record_issue


@pytest.fixture(autouse=True)
def _unthrottled():
    PersonThrottle.pace.clear()


def corrected(visit, by) -> None:
    """As a correction leaves it: another note, the next revision, a row saying who and why."""
    kept = {"visit": visit, "by": by, "document": packed({}), "answers": packed({})}
    first = VisitRecord.objects.create(**kept, revision=1, current=False)
    VisitRecord.objects.create(**kept, revision=2, corrects=first, reason="read the wrong line")
    Visit.objects.filter(pk=visit.pk).update(revision=2, notes="Trap cleaned and refilled.")


def test_issued_again_with_the_same_content_it_is_the_same_record(attendance, fleet) -> None:
    first = record_issue(by=fleet.office, attendance=attendance)
    again = record_issue(by=fleet.contact, attendance=attendance)
    assert first.record == again.record
    assert first.etag == again.etag
    assert (first.record.revision, first.record.issued_by) == (1, fleet.office)
    assert bytes(first.record.digest) == record_digest(first.record.code, 1, first.content)
    assert ServiceRecord.objects.count() == 1


def test_a_correction_supersedes_it_and_the_old_code_says_by_what_and_when(attendance, visit, fleet) -> None:
    old = record_issue(by=None, attendance=attendance).record
    assert record_check(old.code).standing == Standing.STANDS
    corrected(visit, fleet.office)
    told = record_check(old.code)
    assert told.standing == Standing.CORRECTED
    assert told.corrected_on == VisitRecord.objects.get(visit=visit, revision=2).at
    new = record_issue(by=None, attendance=attendance)
    assert new.record.revision == 2
    assert new.content["visits"][0]["corrections"][0]["reason"] == "read the wrong line"
    told = record_check(old.code)
    assert (told.standing, told.newer) == (Standing.SUPERSEDED, new.record)
    assert record_check(new.record.code).standing == Standing.STANDS


def test_a_next_date_that_comes_later_is_added_and_one_that_moves_changes_nothing(attendance, visit) -> None:
    rows = Appliance.objects.filter(pk=visit.appliance_id)
    rows.update(next_due_on=None)
    assert record_issue(by=None, attendance=attendance).record.revision == 1
    rows.update(next_due_on="2031-04-01")
    second = record_issue(by=None, attendance=attendance)
    assert second.record.revision == 2
    rows.update(next_due_on="2031-05-01")
    third = record_issue(by=None, attendance=attendance)
    assert third.record == second.record
    assert third.content["visits"][0]["next_on"] == "2031-04-01"


def test_a_record_that_was_issued_before_it_said_what_is_indicative_still_stands(attendance) -> None:
    record = record_issue(by=None, attendance=attendance).record
    content = unpacked(record.content) | {"format": 1}
    for visit in content["visits"]:
        for test in visit["tests"]:
            del test["indicative"]
    ServiceRecord.objects.filter(pk=record.pk).update(content=packed(content))
    assert record_issue(by=None, attendance=attendance).record == record


def test_a_record_altered_in_the_database_is_not_vouched_for(attendance) -> None:
    record = record_issue(by=None, attendance=attendance).record
    content = unpacked(record.content)
    content["visits"][0]["outcome_text"] = "completed, all well"
    ServiceRecord.objects.filter(pk=record.pk).update(content=packed(content))
    assert record_check(record.code).standing == Standing.DAMAGED


def test_a_code_is_read_whatever_its_case_and_signs_and_nothing_else_is() -> None:
    code = code_new()
    assert len(code) == 12
    assert set(code) <= set(ALPHABET)
    assert code_read(f"  {code_shown(code).lower()} ") == code
    assert code_read("OOOO-IIII-LLLL") == "000011111111"
    for text in ("", "A" * 11, "A" * 13, "AAAA-AAAA-AAA!", "AAAA-AAAA-AAAU", "𝟎" * 12, "' OR 1=1 --"):
        assert code_read(text) is None


def test_anyone_can_look_a_code_up_and_compare_the_file(attendance, fleet, page_of, client) -> None:
    pdf = page_of(fleet.contact).get(reverse("web:service-record-pdf", args=[attendance.uuid]))
    record = ServiceRecord.objects.get()
    assert record.files.get().digest == hashlib.sha256(pdf.content).digest()
    page = client.get(reverse("web:record-check"), {"code": record.code.lower()}, follow=True)
    assert page.redirect_chain == [(reverse("web:record-checked", args=[code_shown(record.code)]), 302)]
    assert "What is kept under this code is unaltered, and it still stands." in page.text
    assert "9.02 ± 0.14" in page.text
    address = page.redirect_chain[0][0]
    altered = pdf.content.replace(b"%%EOF", b"%%EOf")
    for content, said in ((pdf.content, "The same file."), (altered, "Not the same file.")):
        sent = {"file": SimpleUploadedFile("record.pdf", content)}
        page = client.post(address, sent)
        assert said in page.text
    # that it is another file comes before what is said of the record
    assert page.text.index("Not the same file.") < page.text.index("it still stands.")
    too_large = {"file": SimpleUploadedFile("record.pdf", b"x" * 2_000_001)}
    assert "The file has 2,000,001 bytes" in client.post(address, too_large).text


def test_a_code_that_is_nobody_s_is_not_found_and_guessing_is_stopped(db, client) -> None:
    address = reverse("web:record-checked", args=["0000-0000-0000"])
    assert "No record has this code" in client.get(address).text
    assert client.get(reverse("web:record-check"), {"code": "nonsense"}).status_code == 422
    pace = RecordCheckThrottle.per_minute
    statuses = [client.get(address).status_code for _ in range(pace)]
    assert statuses == [404] * (pace - 1) + [429]
    assert int(client.get(address).headers["Retry-After"]) > 0


def test_the_page_of_a_record_is_linked_from_the_visit_the_appliance_and_the_contact_s_sites(
    attendance, visit, fleet, page_of
) -> None:
    address = reverse("web:service-record", args=[attendance.uuid])
    contact = page_of(fleet.contact)
    for page in (
        reverse("web:visit", args=[visit.uuid]),
        reverse("web:appliance", args=[visit.appliance_id]),
        reverse("web:my-sites"),
    ):
        assert address in contact.get(page).text, page
    text = contact.get(address).text
    code = code_shown(ServiceRecord.objects.get().code)
    assert code in text
    assert "9.55 ± 0.14" in text
    assert page_of(fleet.stranger).get(address).status_code == 404
    assert re.search(r"Flue gas temperature \(°F\)", contact.get(address, {"units": "us"}).text)


def test_over_rest_it_comes_with_an_entity_tag_and_refusals_are_problems(attendance, fleet, api_of) -> None:
    api = api_of(fleet.contact)
    address = f"/api/v1/attendances/{attendance.uuid}/record/"
    answer = api.get(address)
    body = answer.json()
    assert body["issued"]["check_at"].endswith(f"/record/{body['issued']['code']}/")
    assert body["content"]["visits"][0]["tests"][0]["results"]["quantities"]["co2_pct"]["u"] == 0.07
    assert "safe" in body["caution"]
    assert api.get(address, HTTP_IF_NONE_MATCH=answer.headers["ETag"]).status_code == 304
    pdf = api.get(address[:-1] + ".pdf", HTTP_ACCEPT="application/pdf")
    assert pdf.headers["Content-Type"] == "application/pdf"
    assert pdf.headers["ETag"].strip('"') == hashlib.sha256(pdf.content).hexdigest()[:32]
    assert api.get(address[:-1] + ".pdf", HTTP_IF_NONE_MATCH=pdf.headers["ETag"]).status_code == 304
    refused = api.get(address[:-1] + ".pdf?units=furlong", HTTP_ACCEPT="application/pdf")
    assert (refused.status_code, refused.json()["errors"][0]["field"]) == (400, "/units")
    assert api_of(fleet.stranger).get(address).status_code == 404


def test_a_pdf_of_what_is_not_closed_yet_is_refused_by_name(fleet, api_of, attendance, visit) -> None:
    Visit.objects.filter(attendance=attendance).update(closed_at=None, outcome="")
    api = api_of(fleet.office)
    address = f"/api/v1/attendances/{attendance.uuid}/record"
    assert api.get(f"{address}.pdf").json()["code"] == "record_not_ready"
    assert api.get(f"{address}/").json()["issued"] is None
