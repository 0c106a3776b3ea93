"""A follow-up that the office has seen to otherwise than by a visit."""

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from common.problems import Problem
from planning.models import FollowUp
from planning.services import follow_up_close
from web.access import OFFICE, PersonRequest, page_for
from web.problems import add_to_form


class NoteForm(forms.Form):
    """How it was seen to."""

    note = forms.CharField(
        label=gettext_lazy("How it was seen to"), max_length=400, widget=forms.Textarea(attrs={"rows": 3})
    )


@page_for(OFFICE)
@require_http_methods(["GET", "POST"])
def follow_up(request: PersonRequest, pk: int) -> HttpResponse:
    """Close one, with a word on how; a visit closes it by itself."""
    rows = FollowUp.objects.visible_to(request.user).with_place().select_related("visit", "done_by")
    row = get_object_or_404(rows, pk=pk)
    form = NoteForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            follow_up_close(by=request.user, follow_up=row, note=form.cleaned_data["note"])
        except Problem as problem:
            add_to_form(form, problem)
        else:
            messages.success(request, _("Closed."))
            return redirect("web:today")
    return render(request, "office/follow-up.html", {"row": row, "form": form})
