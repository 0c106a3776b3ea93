"""Controls written in Python are the ones that the framework's templates make."""

import re
from datetime import date

import pytest
from django import forms
from django.forms.renderers import DjangoTemplates

from web.forms.rendering import QuickRenderer

HOSTILE = "\"><script>alert('&amp; x')</script>"
GROUP = ("Group & co", [("g", "in a group"), (None, "–")])
CHOICES = [("", "none"), ("a", HOSTILE), (1, "one"), (HOSTILE, "two"), GROUP]
TYPED = {"inputmode": "decimal", "required": True, "disabled": False, "maxlength": 7}
WIDGETS: dict[str, tuple[forms.Widget, object]] = {
    "text": (forms.TextInput(TYPED), HOSTILE),
    "nothing": (forms.TextInput(), None),
    "number": (forms.NumberInput({"step": 0.5, "min": 0, "max": 1}), 0),
    "date": (forms.DateInput({"type": "date"}, format="%Y-%m-%d"), date(2026, 3, 1)),
    "hidden": (forms.HiddenInput(), "k&1"),
    "password": (forms.PasswordInput(), "never shown"),
    "tick": (forms.CheckboxInput(), True),
    "no tick": (forms.CheckboxInput(), False),
    "select": (forms.Select({"data-x": HOSTILE}, CHOICES), HOSTILE),
    "nothing chosen": (forms.Select({}, CHOICES), None),
    "several": (forms.SelectMultiple({}, CHOICES), ["a", "1"]),
    "area": (forms.Textarea({"rows": 3}), "\n two lines\n" + HOSTILE),
    "empty area": (forms.Textarea(), None),
    "choices as boxes": (forms.CheckboxSelectMultiple({}, CHOICES), ["a"]),
}


def parts(html: str) -> list[str]:
    """The elements and texts, without the white space that stands between two elements."""
    return re.sub(r">\s+<(?!/textarea)", "><", html.strip()).split("><")


@pytest.mark.parametrize("name", WIDGETS)
def test_a_control_is_the_one_that_the_templates_make(name: str) -> None:
    widget, value = WIDGETS[name]
    ours, theirs = (
        str(widget.render("field", value, {"id": "id_field"}, renderer))
        for renderer in (QuickRenderer(), DjangoTemplates())
    )
    assert parts(ours) == parts(theirs)
    assert "<script" not in ours
