"""Small pieces of a sheet's text: days and times at the site, chances, facts."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import formats
from django.utils.translation import gettext as _

Block = dict[str, Any]


def facts(*rows: tuple[str, str]) -> list[list[str]]:
    """Label and text, those without text left out."""
    return [[label, text] for label, text in rows if text]


def heading(text: str, level: int = 2) -> Block:
    """A heading: level 1 for an appliance or part of the paper, 2 below it."""
    return {"kind": "heading", "level": level, "text": text}


def caution(title: str, lines: list[str]) -> Block:
    """Lines to be heeded, under a title."""
    return {"kind": "caution", "title": title, "lines": lines}


def joined(*parts: str, separator: str = ", ") -> str:
    """The parts that hold anything, trimmed, in one line."""
    return separator.join(part.strip() for part in parts if part and part.strip())


def listed(parts: Iterable[str]) -> str:
    """A list in one line."""
    return ", ".join(parts)


def plain_text(value: float | None) -> str:
    """Two decimals with a true minus sign; an en dash where there is none."""
    return "–" if value is None else f"{value:.2f}".replace("-", "−")


def chance_text(probability: float | None) -> str:
    """A probability in words that never claim certainty."""
    if probability is None:
        return ""
    if probability > 0.995:
        return _("over 99 %")
    return _("under 1 %") if probability < 0.005 else f"{probability * 100:.0f} %"


def day_text(iso: str) -> str:
    """A calendar day in words."""
    return formats.date_format(date.fromisoformat(iso), "j F Y")


def instant_text(iso: str | None, zone: ZoneInfo) -> str:
    """An instant as the clock at the site showed it, with the zone's short name."""
    if iso is None:
        return ""
    local = datetime.fromisoformat(iso).astimezone(zone)
    return f"{formats.date_format(local, 'j F Y, H:i')} {local:%Z}"


def clock_text(iso: str | None, zone: ZoneInfo) -> str:
    """Only the time of day of an instant, at the site."""
    return f"{datetime.fromisoformat(iso).astimezone(zone):%H:%M %Z}" if iso else ""


def span_text(start: str | None, end: str | None, zone: ZoneInfo) -> str:
    """From when to when, as times of day at the site."""
    return joined(clock_text(start, zone), clock_text(end, zone), separator=" – ")
