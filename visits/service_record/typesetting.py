"""A service record on paper: a tagged PDF (PDF/UA-1), the same bytes for the same record.

Typeset by the `typst` package with the fonts it carries; nothing of the system or the network is used. Text
reaches the template as data, never as markup.
"""

import hashlib
import json
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal
from zoneinfo import ZoneInfo

import typst
from django.utils import formats, timezone
from django.utils.translation import gettext as _

from visits.models import RecordFile, ServiceRecord
from visits.service_record.codes import code_shown
from visits.service_record.issuing import fingerprint
from visits.service_record.sheet import paper_for, sheet_build

TEMPLATE = Path(__file__).with_name("record.typ")
STANDARD: Literal["ua-1"] = "ua-1"
UNPRINTABLE = "□"
_NO_GLYPH = "could not be displayed"
_KEPT_CONTROLS = frozenset("\n")
_LINE_ENDS = str.maketrans({"\u2028": "\n", "\u2029": "\n"})
"""A line of such alone, broken as a long word, has nothing that a font draws; PDF/UA refuses it."""
_LONG_WORD = 24


@dataclass(frozen=True)
class Pdf:
    """A file with its SHA-256."""

    content: bytes
    digest: bytes
    variant: str

    @property
    def etag(self) -> str:
        """A strong entity tag of the bytes."""
        return f'"{self.digest.hex()[:32]}"'


def record_pdf(*, record: ServiceRecord, content: dict[str, Any], units: str, check_at: str) -> Pdf:
    """The record as a PDF; its digest is kept so that a copy can be told from an altered one.

    units: `si` or `us`.   check_at: address of the page where a code is looked up, without the code.
    """
    paper = paper_for(content)
    made = pdf_typeset(_whole_sheet(record, content, units, paper, check_at))
    variant = f"{units} {paper}"
    pdf = Pdf(made, hashlib.sha256(made).digest(), variant)
    if not record.files.filter(digest=pdf.digest).exists():
        row = RecordFile(record=record, digest=pdf.digest, variant=variant, made_at=timezone.now())
        # Two readers at once make the same file; one row of it is enough.
        RecordFile.objects.bulk_create([row], ignore_conflicts=True)
    return pdf


def pdf_typeset(sheet: dict[str, Any]) -> bytes:
    """The sheet as PDF/UA-1. What the font cannot draw becomes an empty square, and the paper says so."""
    clean = _mapped(sheet, printable)
    try:
        return _compiled(clean)
    except typst.TypstError as error:
        if _NO_GLYPH not in str(error):
            raise
    missing = {char for char in set(json.dumps(clean, ensure_ascii=False)) if not _has_glyph(char)}
    boxed = str.maketrans(dict.fromkeys(missing, UNPRINTABLE))
    drawn = _mapped(clean, lambda text: text.translate(boxed))
    note = _("{square} stands for a letter that this paper cannot show; the page on our site shows it.")
    drawn["blocks"].append({"kind": "text", "soft": True, "text": note.format(square=UNPRINTABLE)})
    return _compiled(drawn)


def printable(text: str) -> str:
    """Text without control characters and without marks that turn the direction of what follows.

    Words too long for a column may be broken: a zero-width space stands every 24 characters.
    """
    plain = unicodedata.normalize("NFC", text).translate(_LINE_ENDS)
    kept = "".join(char for char in plain if char in _KEPT_CONTROLS or not _hidden(char))
    return " ".join(_breakable(word) for word in kept.split(" "))


def _hidden(char: str) -> bool:
    category = unicodedata.category(char)
    return category in ("Cc", "Cs", "Co", "Cn") or (category == "Cf" and char not in "\u00ad\u200c\u200d")


def _breakable(word: str) -> str:
    pieces = [word[start : start + _LONG_WORD] for start in range(0, len(word), _LONG_WORD)]
    return "\u200b".join(pieces)


def _whole_sheet(
    record: ServiceRecord, content: dict[str, Any], units: str, paper: str, check_at: str
) -> dict[str, Any]:
    issued = record.issued_at.astimezone(ZoneInfo(content["place"]["zone"]))
    shown, day = code_shown(record.code), formats.date_format(issued, "j F Y, H:i")
    sheet = sheet_build(content, units=units)
    title = _("Service record, {site}, {day}").format(
        site=content["place"]["site"], day=content["attendance"]["local_on"]
    )
    return sheet | {
        "heading": sheet["title"],
        "title": title,
        "author": content["firm"]["name"] or "Flueledger",
        "paper": paper,
        "issued": {"year": issued.year, "month": issued.month, "day": issued.day},
        "page_word": _("Page"),
        "foot": _(
            "Service record {code}, revision {revision}. The maker's instructions, local codes and licensed "
            "practice come before it."
        ).format(code=shown, revision=record.revision),
        "check": {
            "title": _("Code {code}").format(code=shown),
            "rows": [
                [_("Revision"), str(record.revision)],
                [_("Issued"), f"{day} {issued:%Z}"],
                [_("Fingerprint"), fingerprint(record)],
                [_("Look it up at"), f"{check_at}{shown}/"],
            ],
            "text": _(
                "Anyone can see there, without signing in, whether this record is unaltered and whether a "
                "later revision has taken its place."
            ),
        },
    }


def _compiled(sheet: dict[str, Any]) -> bytes:
    data = json.dumps(sheet, ensure_ascii=False, sort_keys=True)
    return _made(TEMPLATE.read_bytes(), {"sheet": data})


def _made(source: bytes, data: dict[str, str]) -> bytes:
    made = typst.compile(  # type: ignore[call-overload]  # its stub wants a root of the input's own type
        source,
        root=str(TEMPLATE.parent),
        format="pdf",
        sys_inputs=data,
        pdf_standards=STANDARD,
        ignore_system_fonts=True,
    )
    return bytes(made)


@lru_cache(maxsize=4096)
def _has_glyph(char: str) -> bool:
    """Whether the bundled font can draw a character, by drawing it."""
    if char.isascii():
        return True
    probe = b'#set document(title: "x")\n#set text(font: "Libertinus Serif")\n#json(bytes(sys.inputs.text))'
    try:
        _made(probe, {"text": json.dumps(char)})
    except typst.TypstError:
        return False
    return True


def _mapped(value: Any, change: Any) -> Any:
    if isinstance(value, str):
        return change(value)
    if isinstance(value, dict):
        return {key: _mapped(item, change) for key, item in value.items()}
    return [_mapped(item, change) for item in value] if isinstance(value, list) else value
