"""Lists in and out: natural keys, a preview before anything is stored, inert cells, hostile files refused."""

import io
import zipfile

import openpyxl
import pytest
from django.core.files.storage import FileSystemStorage, default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from fleet.lists import Refused, table_read
from fleet.models import Appliance, Customer, Site
from tests import factories as make
from web.uploads import KEPT_FOR, preview_keep, previews_clear


def send(client, kind, content, name="list.csv"):
    typed = {"kind": kind, "separator": "comma", "file": SimpleUploadedFile(name, content)}
    return client.post(reverse("web:lists"), typed)


def store(client, answer):
    return client.post(reverse("web:list-apply"), {"ticket": answer.context["ticket"]}, follow=True)


def workbook(*rows) -> bytes:
    book, out = openpyxl.Workbook(), io.BytesIO()
    for row in rows:
        book.active.append(row)
    book.save(out)
    return out.getvalue()


def test_a_preview_shows_what_changes_and_stores_nothing(fleet, page_of) -> None:
    client = page_of(fleet.office)
    text = b"customer,name,elevation_m\nAldermere Schools Trust,Fenwick Road School,90\n"
    answer = send(client, "sites", text + b"Aldermere Schools Trust,Mill Lane School,\n")
    outcome = answer.context["outcome"]
    assert (outcome.added, outcome.changed, outcome.faulty) == (1, 1, 0)
    assert "<del>84.0</del>" in answer.text
    assert not Site.objects.filter(name="Mill Lane School").exists()
    assert "1 added, 1 changed" in store(client, answer).text
    fleet.site.refresh_from_db()
    assert fleet.site.elevation_m == 90.0
    again = client.post(reverse("web:list-apply"), {"ticket": answer.context["ticket"]}, follow=True)
    assert "has been applied" in again.text


def test_faulty_rows_are_named_and_nothing_is_stored(fleet, page_of) -> None:
    text = b"customer,name,elevation_m\nAldermere Schools Trust,New School,80\nNobody,Here,1\n"
    answer = send(page_of(fleet.office), "sites", text + b"Aldermere Schools Trust,Too High,9000\n")
    faults = answer.context["outcome"].faults
    assert [row for row, _field, _text in faults] == [3, 4]
    assert "No customer is on file as «Nobody»" in answer.text
    assert "elevation_m must lie between" in answer.text
    assert answer.context["ticket"] == ""
    assert not Site.objects.filter(name="New School").exists()


@pytest.mark.parametrize("form", ["csv", "xlsx"])
@pytest.mark.parametrize("kind", ["customers", "sites", "plants", "appliances", "analysers"])
def test_what_is_taken_away_changes_nothing_when_sent_in_again(fleet, page_of, kind, form) -> None:
    Customer.objects.filter(name="Brackwater Hospital").update(name="=2+5")
    client = page_of(fleet.office)
    out = client.get(reverse("web:list-download", args=[kind, form])).content
    outcome = send(client, kind, out, f"list.{form}").context["outcome"]
    assert (outcome.added, outcome.changed, outcome.faults) == (0, 0, [])
    assert outcome.unchanged > 0


def test_cells_that_a_spreadsheet_would_run_leave_inert(fleet, page_of) -> None:
    for start in "=+-@\t\r":
        make.CustomerFactory(name=f"{start}cmd")
    client = page_of(fleet.office)
    lines = client.get(reverse("web:list-download", args=["customers", "csv"])).text
    assert all(f"'{start}cmd" in lines for start in "=+-@\t")
    book = openpyxl.load_workbook(
        io.BytesIO(client.get(reverse("web:list-download", args=["customers", "xlsx"])).content)
    )
    cells = [cell for row in book.active.iter_rows() for cell in row]
    assert not any(cell.data_type == "f" for cell in cells)
    site = make.SiteFactory(longitude=-1.5)
    book = openpyxl.load_workbook(
        io.BytesIO(client.get(reverse("web:list-download", args=["sites", "xlsx"])).content)
    )
    assert -1.5 in [cell.value for row in book.active.iter_rows() for cell in row]
    assert site.longitude == -1.5


def test_a_new_appliance_of_a_list_has_a_burner(fleet, page_of) -> None:
    place = fleet.appliance.plant
    rows = [
        ["customer", "site", "plant", "tag", "maker", "model", "fuel"],
        [str(place.site.customer), str(place.site), str(place), "B9", "Corvane", "CX120", "natural_gas"],
    ]
    client = page_of(fleet.office)
    answer = send(client, "appliances", workbook(*rows), "list.xlsx")
    assert answer.context["outcome"].faults == []
    store(client, answer)
    assert Appliance.objects.get(tag="B9").burners.count() == 1


def zipped(**parts) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


SHEET = {"[Content_Types].xml": "<x/>", "xl/workbook.xml": "<x/>"}
HOSTILE = {
    "unpacks to more": zipped(**SHEET, **{"xl/worksheets/sheet1.xml": b"0" * 40_000_000}),
    "not an XLSX workbook": zipped(readme="hello"),
    "macros": zipped(**SHEET, **{"xl/vbaProject.bin": b"x"}),
    "document type": zipped(**SHEET, **{"xl/styles.xml": '<!DOCTYPE a [<!ENTITY b "c">]><a/>'}),
    "cannot be read": zipped(**SHEET),
    "cannot be unpacked": b"PK\x03\x04 torn off",
    "holds a formula": workbook(["name"], ["=HYPERLINK(1)"]),
    "neither": b"\x89PNG\r\n\x1a\n\x00\x00",
    "nor a table": b"<html><script>alert(1)</script></html>",
    "at most": b"name\n" + b"x" * 2_000_001,
    "is empty": b"  \n",
    "no row": b"name,email\n",
    "are called": b"name,name\na,b\n",
    "more cells": b"name,email\na,b,c\n",
    "More than 2,000 rows": b"name\n" + b"a\n" * 2001,
    "breaks off": b'name\n"a\n',
}


@pytest.mark.parametrize("words", HOSTILE)
def test_a_hostile_or_broken_file_is_refused_by_what_is_in_it(words) -> None:
    with pytest.raises(Refused) as refusal:
        table_read(HOSTILE[words], separator="comma")
    assert words in str(refusal.value)


def test_the_page_says_why_a_file_is_refused(fleet, page_of) -> None:
    client = page_of(fleet.office)
    assert "macros" in send(client, "customers", HOSTILE["macros"], "list.csv").text
    assert "is not known" in send(client, "customers", b"name,shoe_size\na,44\n").text
    assert "is missing" in send(client, "sites", b"name\na\n").text


def test_a_ticket_of_somebody_else_stores_nothing(fleet, page_of) -> None:
    answer = send(page_of(fleet.office), "customers", b"name\nNew Baths\n")
    assert "somebody else" in store(page_of(fleet.manager), answer).text
    assert not Customer.objects.filter(name="New Baths").exists()


def test_a_previewed_file_that_nobody_applied_is_cleared_after_the_hour() -> None:
    now = timezone.now()
    previews_clear(now + KEPT_FOR * 2)  # what other tests left
    name = preview_keep(b"customer\nAldermere Schools Trust\n")
    assert previews_clear(now + KEPT_FOR / 2) == 0
    assert default_storage.exists(name)
    assert previews_clear(now + KEPT_FOR * 2) == 1
    assert not default_storage.exists(name)
    assert previews_clear(now + KEPT_FOR * 2) == 0


def test_clearing_where_nothing_was_ever_sent_in_does_nothing(monkeypatch, tmp_path) -> None:
    monkeypatch.setattr("web.uploads.default_storage", FileSystemStorage(location=tmp_path))
    assert previews_clear(timezone.now()) == 0
    preview_keep(b"x")
    assert previews_clear(timezone.now() + KEPT_FOR * 2) == 1
