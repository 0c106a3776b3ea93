"""The PDF: tagged, self-contained, the same bytes again, and nothing a person typed is ever markup."""

import io
import json

import pytest
from pypdf import PdfReader

from visits.service_record.codes import code_shown
from visits.service_record.issuing import record_issue
from visits.service_record.typesetting import UNPRINTABLE, pdf_typeset, printable, record_pdf

CHECK_AT = "https://ledger.tarnholt.example/record/"
HOSTILE = [
    '#read("/etc/passwd")',
    "#import sys: inputs",
    "*b* _i_ `r` $x^2$ @ref <label> \\ // c /* c",
    "[#panic()]",
    "</script><script>alert(1)</script>",
    '"), evil: ("',
    "= Heading\n- item\n+ item",
]


def sheet_of(**words):
    return {
        "title": "Service record, somewhere",
        "heading": "Service record",
        "author": "Tarnholt",
        "paper": "a4",
        "issued": {"year": 2026, "month": 3, "day": 2},
        "page_word": "Page",
        "foot": "Foot",
        "lines": ["Somewhere"],
        "alarms": [],
        "facts": [],
        "check": {"title": "Code", "rows": [], "text": "Look it up."},
        "blocks": [],
    } | words


def text_of(content: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)


def kinds_in(tree, found=None) -> list[str]:
    """Every kind of element in a structure tree, in reading order."""
    found = [] if found is None else found
    node = tree.get_object()
    if isinstance(node, list):
        for child in node:
            kinds_in(child, found)
    elif isinstance(node, dict):
        if "/S" in node:
            found.append(str(node["/S"]))
        if "/K" in node:
            kinds_in(node["/K"], found)
    return found


@pytest.fixture
def pdf(attendance):
    issue = record_issue(by=None, attendance=attendance)
    made = record_pdf(record=issue.record, content=issue.content, units="si", check_at=CHECK_AT)
    return issue.record, issue.content, made


def test_the_pdf_is_tagged_titled_in_its_language_and_says_what_was_read(pdf) -> None:
    record, _content, made = pdf
    reader = PdfReader(io.BytesIO(made.content))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata.title.startswith("Service record, Fenwick Road School, ")
    assert b"pdfuaid:part" in root["/Metadata"].get_object().get_data()
    kinds = kinds_in(root["/StructTreeRoot"])
    assert {"/H1", "/H2", "/Table", "/THead", "/TH", "/TD", "/L", "/Caption"} <= set(kinds)
    text = text_of(made.content)
    for said in ("9.55 ± 0.14", "9.02 ± 0.14", "k = 2", code_shown(record.code), f"{CHECK_AT}", "electrode"):
        assert said in text, said
    assert all(round(float(page.mediabox.width)) == 595 for page in reader.pages), "A4"


def test_every_font_is_inside_the_file(pdf) -> None:
    reader = PdfReader(io.BytesIO(pdf[2].content))
    fonts = [
        font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        for page in reader.pages
        for font in page["/Resources"]["/Font"].values()
    ]
    assert fonts
    assert all("/FontFile2" in font or "/FontFile3" in font for font in fonts)


def test_the_same_record_gives_the_same_bytes_and_one_file_on_file(pdf) -> None:
    record, content, made = pdf
    again = record_pdf(record=record, content=content, units="si", check_at=CHECK_AT)
    assert again.content == made.content
    other = record_pdf(record=record, content=content, units="us", check_at=CHECK_AT)
    assert other.digest != made.digest
    assert sorted(record.files.values_list("variant", flat=True)) == ["si a4", "us a4"]
    there = content | {"place": content["place"] | {"country": "US"}}
    letter = record_pdf(record=record, content=there, units="us", check_at=CHECK_AT)
    assert round(float(PdfReader(io.BytesIO(letter.content)).pages[0].mediabox.width)) == 612


def test_what_a_person_typed_is_drawn_and_never_run() -> None:
    table = {"kind": "table", "caption": HOSTILE[0], "head": HOSTILE[:2], "numeric": [False, True]}
    blocks = [
        *({"kind": "text", "text": text} for text in HOSTILE),
        table | {"rows": [HOSTILE[2:4]]},
        {"kind": "list", "entries": [[HOSTILE[0], HOSTILE[5], HOSTILE[1]]]},
        {"kind": "alarm", "title": HOSTILE[0], "lines": HOSTILE},
        {"kind": "caution", "title": HOSTILE[3], "lines": HOSTILE},
        {"kind": "facts", "rows": [[HOSTILE[0], HOSTILE[3]]]},
        {"kind": "heading", "level": 1, "text": HOSTILE[2]},
    ]
    made = pdf_typeset(sheet_of(blocks=blocks, title=HOSTILE[0], lines=[HOSTILE[1]]))
    text = text_of(made).replace("\u200b", "")
    for typed in HOSTILE:
        for line in typed.split("\n"):
            # Once by itself, once in the frame of what must be read first, once in a caution.
            assert text.count(line) >= 3, line
    assert "root:" not in text


def test_controls_and_turned_text_are_left_out_and_long_words_may_break() -> None:
    assert printable("a\x00b\x07c\u202ed\u2066e\ue000f") == "abcdef"
    assert printable("two\nlines") == "two\nlines"
    assert printable("two\u2028lines\u2029and") == "two\nlines\nand"
    assert pdf_typeset(sheet_of(blocks=[{"kind": "text", "text": "\u2028" * 64}], lines=["\u2029" * 64]))
    assert printable("x" * 50).count("\u200b") == 2
    made = pdf_typeset(sheet_of(blocks=[{"kind": "text", "text": "x" * 5000}], lines=["\x00"]))
    assert text_of(made).count("x") == 5000


def test_letters_that_no_font_here_has_become_squares_and_that_is_said() -> None:
    text = text_of(pdf_typeset(sheet_of(lines=["Müller, Čapek, Ελλάς, Жук, 日本 😀"])))
    assert f"Müller, Čapek, Ελλάς, Жук, {UNPRINTABLE}{UNPRINTABLE} {UNPRINTABLE}" in text
    assert "cannot show" in text


def test_a_sheet_is_data_that_json_can_carry(pdf) -> None:
    json.dumps(pdf[1], allow_nan=False)
