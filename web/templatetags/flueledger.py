"""What every template needs: the shell round a page, the reader's units, the site's clock."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from types import SimpleNamespace
from typing import Any

from django import template
from django.utils import formats, timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from fleet.units import MEASURES, about, units_of
from people.permissions import role_of
from visits.advising.words import advice_text
from visits.judging.catalogue import FINDINGS, sentence, title_of
from visits.models import Finding, FiringTest, TestResult
from visits.saving.answer import INDICATIVE
from web.navigation import Link, links_for
from web.selectors.appliance import band_of, co2_of, result_of
from web.selectors.entry import Cell, GridRow
from web.selectors.visit import PointPair
from web.themes import theme_of

register = template.Library()


@dataclass(frozen=True)
class Shell:
    """What stands round every page."""

    theme: str
    role: str
    links: list[Link]


@register.simple_tag(takes_context=True)
def shell(context: dict[str, Any]) -> Shell:
    """Theme, role and links of the reader."""
    request = context.get("request")
    if request is None or not hasattr(request, "user"):
        return Shell("", "", [])
    return Shell(theme_of(request), role_of(request.user) or "", links_for(request))


def _units(context: dict[str, Any]) -> str:
    request = context.get("request")
    return units_of(getattr(request, "user", None))


@register.simple_tag(takes_context=True)
def qty(context: dict[str, Any], value: float | None, name: str) -> str:
    """A value of a known quantity in the reader's units, without the unit."""
    return MEASURES[name].text(value, _units(context))


@register.simple_tag(takes_context=True)
def qty_with_unit(context: dict[str, Any], value: float | None, name: str) -> str:
    """A value with its unit, for definition lists; the unit follows a no-break space."""
    return MEASURES[name].with_unit(value, _units(context))


@register.simple_tag(takes_context=True)
def qty_about(context: dict[str, Any], value: float | None, name: str) -> str:
    """A rough value in the reader's units, with the two or three digits that it is good for."""
    return "–" if value is None else about(MEASURES[name].value(value, _units(context)))


@register.simple_tag(takes_context=True)
def qty_spread(context: dict[str, Any], value: float | None, name: str) -> str:
    """Twice a standard uncertainty, as ± in the reader's units: about 95 % coverage."""
    return MEASURES[name].spread_text(None if value is None else 2 * value, _units(context))


@register.simple_tag(takes_context=True)
def qty_unit(context: dict[str, Any], name: str) -> str:
    """The unit of a quantity as the reader wants it."""
    return MEASURES[name].unit(_units(context))


@register.simple_tag(takes_context=True)
def qty_head(context: dict[str, Any], name: str) -> SafeString:
    """Label and unit for a column's head."""
    unit = MEASURES[name].unit(_units(context))
    if not unit:
        return format_html("{}", MEASURES[name].label)
    return format_html('{} <span class="unit">{}</span>', MEASURES[name].label, unit)


@register.simple_tag(takes_context=True)
def qty_name(context: dict[str, Any], name: str) -> str:
    """The same as plain text, for a cell that stands by itself on a phone."""
    unit = MEASURES[name].unit(_units(context))
    return f"{MEASURES[name].label}, {unit}" if unit else str(MEASURES[name].label)


@register.filter
def at_zone(instant: datetime | None, zone: tzinfo) -> str:
    """An instant as the clock at the site showed it, with the zone's short name."""
    if instant is None:
        return "–"
    local = timezone.localtime(instant, zone)
    return f"{formats.date_format(local, 'j M Y, H:i')} {local:%Z}"


@register.filter
def clock_at(instant: datetime, zone: tzinfo) -> str:
    """The time of day of an instant at a site, to the second."""
    return instant.astimezone(zone).strftime("%H:%M:%S")


@register.filter
def chance(probability: float | None) -> str:
    """A probability in words that never claim certainty."""
    if probability is None:
        return "–"
    if probability > 0.995:
        return _("over 99 %")
    if probability < 0.005:
        return _("under 1 %")
    return f"{probability * 100:.0f}\u00a0%"


@register.filter
def number(value: float | None, decimals: int = 2) -> str:
    """A plain number with a true minus sign; an en dash where there is none."""
    return "–" if value is None else f"{value:.{decimals}f}".replace("-", "−")


@register.filter
def sort_state(current: str, column: str) -> str:
    """The value of `aria-sort` for a column, given the sort in the address."""
    if current == column:
        return "ascending"
    return "descending" if current == f"-{column}" else "none"


@register.filter
def next_sort(current: str, column: str) -> str:
    """What a click on the column's head asks for."""
    return f"-{column}" if current == column else column


@register.filter
def finding_title(finding: Finding) -> str:
    """What a finding is called."""
    return title_of(finding.code)


@register.simple_tag(takes_context=True)
def finding_sentence(context: dict[str, Any], finding: Finding) -> str:
    """What a finding says, with value and limit in the reader's units."""
    return sentence(finding, _units(context)) if finding.code in FINDINGS else ""


@register.simple_tag(takes_context=True)
def answered_finding(context: dict[str, Any], row: dict[str, Any]) -> str:
    """The same of a save's answer."""
    return sentence(SimpleNamespace(**row), _units(context))


@register.simple_tag(takes_context=True)
def answered_advice(context: dict[str, Any], row: dict[str, Any]) -> str:
    """One piece of a save's advice in the reader's units."""
    return advice_text(row, _units(context))


@register.filter
def what_to_do(finding: Finding) -> str:
    """What a finding asks for."""
    kind = FINDINGS.get(finding.code)
    return str(kind.what_to_do) if kind else ""


@register.filter
def attribute(row: Any, name: str) -> Any:
    """A column by its name, for tables whose columns are known only at run time."""
    return getattr(row, name, None)


@register.filter
def item(row: Any, place: int) -> Any:
    """An element by its place."""
    return row[place]


@register.filter
def of(rows: Mapping[str, Any], key: str) -> Any:
    """What a mapping holds under a key; nothing where it holds none."""
    return rows.get(key)


@register.filter
def first_judged(test: FiringTest | None) -> TestResult | None:
    """The newest engine's result of a test, as the page's selector fetched it."""
    return result_of(test)


@register.filter
def bar_words(pair: PointPair) -> str:
    """What a band bar shows, for those who do not see it."""
    parts = []
    for name, test in ((_("as found"), pair.found), (_("as left"), pair.left)):
        value, _spread = co2_of(test)
        if value is not None:
            parts.append(f"{name} {value:.2f} %")
    accept = band_of(pair.limits, "accept")
    if accept is not None:
        parts.append(_("acceptance %(low).2f to %(high).2f %%") % {"low": accept[0], "high": accept[1]})
    return _("CO2 at %(point)s: %(parts)s.") % {"point": pair.text, "parts": ", ".join(parts)}


@register.simple_tag
def cell_words(row: GridRow, cell: Cell, head: str) -> str:
    """What the bar of one cell shows, for those who do not see it."""
    parts = [f"{head} {number(cell.co2_pct)} %", cell.verdict]
    for name, band in ((_("target"), row.target_co2_pct), (_("acceptance"), row.accept_co2_pct)):
        if band is not None:
            parts.append(
                _("%(name)s %(low).2f to %(high).2f %%") % {"name": name, "low": band[0], "high": band[1]}
            )
    return _("CO2 at %(point)s: %(parts)s.") % {"point": row.text, "parts": ", ".join(parts)}


@register.simple_tag(takes_context=True)
def result_cell(context: dict[str, Any], result: TestResult, name: str) -> SafeString:
    """One result with ± twice its standard uncertainty, in the reader's units; marked while not steady."""
    measure, units = MEASURES[name], _units(context)
    value, spread = getattr(result, name), getattr(result, f"u_{name}")
    if value is None:
        return format_html("{}", measure.text(value, units))
    text = format_html("{}", measure.text(value, units))
    if spread is not None:
        text = format_html('{} <span class="soft">± {}</span>', text, measure.spread_text(2 * spread, units))
    if name in INDICATIVE and not result.test.thermally_steady:
        text = format_html('{}<br><span class="small soft">{}</span>', text, _("indicative"))
    return text


@register.filter
def spaced(code: str) -> str:
    """A code as words."""
    return code.replace("_", " ")


@register.filter
def days_past(day: date, today: date) -> str:
    """How many days a day lies back; an en dash where it does not."""
    return str((today - day).days) if day < today else "–"


@register.filter
def measure_label(name: str) -> str:
    """What a quantity is called; its code as words where it has no label."""
    return str(MEASURES[name].label) if name in MEASURES else name.replace("_", " ")
