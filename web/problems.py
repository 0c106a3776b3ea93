"""What a service refuses, shown in the form it came from."""

from django import forms

from common.problems import Problem


def add_to_form(form: forms.Form, problem: Problem) -> None:
    """Put each refused field's sentence beside that field; what names no field of the form goes on top."""
    placed = False
    for error in problem.errors:
        field = str(error["field"]).strip("/")
        if field in form.fields:
            form.add_error(field, error["detail"])
            placed = True
    if not placed:
        form.add_error(None, problem.detail)
