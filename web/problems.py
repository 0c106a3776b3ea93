"""What a service refuses, shown in the form it came from."""

from typing import Any

from django import forms

from common.problems import Problem


def add_to_form(form: forms.BaseForm, problem: Problem) -> None:
    """Put each refused field's sentence beside that field; what names no field of the form goes on top."""
    placed = False
    for error in problem.errors:
        field = str(error["field"]).strip("/")
        if field in form.fields:
            form.add_error(field, error["detail"])
            placed = True
    if not placed:
        form.add_error(None, problem.detail)


def renew_hidden(form: forms.BaseForm, name: str, value: object) -> None:
    """Put a new value into a hidden field of a form that was sent, and leave what was typed as it is."""
    typed: Any = form.data.copy()  # type: ignore[attr-defined]
    typed[name] = str(value)
    form.data = typed
