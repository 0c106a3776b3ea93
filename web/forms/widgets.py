"""Form widgets of our own."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.forms.utils import flatatt
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString


class LongSelect(forms.Select):
    """A choice among hundreds whose first says «nothing chosen».

    Written in one go and its rows read once, where the usual one renders a template for each option and reads
    the rows again to see whether the first is empty.
    """

    def use_required_attribute(self, initial: Any) -> bool:
        """The first option is empty, so the browser may insist on another."""
        return not self.is_hidden

    def render(self, name: str, value: Any, attrs: Any = None, renderer: Any = None) -> SafeString:
        """The same element as forms.Select makes, without groups."""
        chosen = set(self.format_value(value))
        whole = self.build_attrs(self.attrs, {**(attrs or {}), "name": name})
        options = format_html_join("", '<option value="{}"{}>{}</option>', self._options(chosen))
        return format_html("<select{}>{}</select>", flatatt(whole), options)

    def _options(self, chosen: set[str]) -> Iterable[tuple[Any, SafeString, Any]]:
        for value, words in self.choices:
            text = "" if value is None else str(value)
            yield text, SafeString(" selected" if text in chosen else ""), words
