"""Form controls written in Python: by templates, the hundreds of them on one page take most of its time."""

from collections.abc import Callable, Iterator
from typing import Any

from django.forms.renderers import DjangoTemplates
from django.utils.html import conditional_escape, escape, format_html
from django.utils.safestring import SafeString

Widget = dict[str, Any]


class QuickRenderer(DjangoTemplates):
    """The usual renderer, but for inputs, choices and text areas, which come out the same and sooner."""

    def render(self, template_name: str, context: dict[str, Any], request: Any = None) -> str:
        """The control as HTML, white space between its parts aside."""
        write = _WRITERS.get(template_name)
        return write(context["widget"]) if write else super().render(template_name, context, request)


def _attributes(attributes: dict[str, Any]) -> SafeString:
    """Each after a space; True is a name alone, False is left out."""
    written = (
        f" {escape(name)}" if value is True else f' {escape(name)}="{conditional_escape(str(value))}"'
        for name, value in attributes.items()
        if value is not False
    )
    return SafeString("".join(written))


def _input(widget: Widget) -> SafeString:
    named = {"type": widget["type"], "name": widget["name"]}
    if widget["value"] is not None:
        named["value"] = str(widget["value"])
    return SafeString(f"<input{_attributes(named)}{_attributes(widget['attrs'])}>")


def _select(widget: Widget) -> SafeString:
    named = _attributes({"name": widget["name"], **widget["attrs"]})
    return format_html("<select{}>{}</select>", named, SafeString("".join(_options(widget))))


def _options(widget: Widget) -> Iterator[str]:
    for group, options, _index in widget["optgroups"]:
        if group:
            yield format_html('<optgroup label="{}">', group)
        for option in options:
            named = _attributes({"value": str(option["value"]), **option["attrs"]})
            yield f"<option{named}>{conditional_escape(option['label'])}</option>"
        if group:
            yield "</optgroup>"


def _text_area(widget: Widget) -> SafeString:
    named = _attributes({"name": widget["name"], **widget["attrs"]})
    # the first line break belongs to the element, not to its text
    return format_html("<textarea{}>\n{}</textarea>", named, widget["value"] or "")


_INPUTS = ("text", "number", "email", "url", "password", "hidden", "date", "datetime", "time", "checkbox")
_WRITERS: dict[str, Callable[[Widget], SafeString]] = {
    **{f"django/forms/widgets/{kind}.html": _input for kind in (*_INPUTS, "input")},
    "django/forms/widgets/select.html": _select,
    "django/forms/widgets/textarea.html": _text_area,
}
