"""Lists out as CSV or XLSX, and in again by way of a preview."""

from django import forms
from django.contrib import messages
from django.core import signing
from django.core.files.storage import default_storage
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from common.audit import audit
from fleet.lists import KINDS, Refused, list_apply, list_preview, table_read
from web.access import OFFICE, PersonRequest, page_for
from web.uploads import KEPT_FOR, preview_keep

SALT = "list-upload"
FORMATS = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
WORDS = {
    "customers": gettext_lazy("Customers"),
    "sites": gettext_lazy("Sites"),
    "plants": gettext_lazy("Plants"),
    "appliances": gettext_lazy("Appliances"),
    "analysers": gettext_lazy("Analysers"),
}


class UploadForm(forms.Form):
    """A file, of which kind of rows, and how its columns are parted."""

    kind = forms.ChoiceField(label=gettext_lazy("Rows of"), choices=list(WORDS.items()))
    file = forms.FileField(
        label=gettext_lazy("File"), help_text=gettext_lazy("CSV in UTF-8, or XLSX; at most 2 MB, 2,000 rows.")
    )
    separator = forms.ChoiceField(
        label=gettext_lazy("Columns of a CSV are parted by"),
        choices=[
            ("comma", gettext_lazy("comma")),
            ("semicolon", gettext_lazy("semicolon")),
            ("tab", gettext_lazy("tab")),
        ],
    )


@page_for(OFFICE)
@require_http_methods(["GET", "POST"])
def lists(request: PersonRequest) -> HttpResponse:
    """Files to take away, and the preview of one sent in."""
    form = UploadForm(request.POST or None, request.FILES or None)
    context: dict[str, object] = {"form": form, "words": WORDS}
    if request.method == "POST" and form.is_valid():
        kind, separator = form.cleaned_data["kind"], form.cleaned_data["separator"]
        content = form.cleaned_data["file"].read()
        try:
            outcome = list_preview(by=request.user, kind=kind, table=table_read(content, separator=separator))
        except Refused as refusal:
            form.add_error("file", str(refusal))
        else:
            changes = outcome.added or outcome.changed
            ticket = _keep(request, kind, separator, content) if changes and not outcome.faulty else ""
            context |= {"outcome": outcome, "kind": WORDS[kind], "ticket": ticket}
    return render(request, "office/lists.html", context)


@page_for(OFFICE)
@require_POST
def apply(request: PersonRequest) -> HttpResponse:
    """Store what was previewed, by the same person and within the hour."""
    try:
        kept = signing.loads(request.POST.get("ticket", ""), salt=SALT, max_age=KEPT_FOR)
    except signing.BadSignature:
        messages.error(request, _("This preview has run out. Send the file again."))
        return redirect("web:lists")
    if kept["by"] != request.user.pk or not default_storage.exists(kept["name"]):
        messages.error(request, _("This preview has been applied, or is somebody else's."))
        return redirect("web:lists")
    with default_storage.open(kept["name"]) as file:
        content = file.read()
    default_storage.delete(kept["name"])
    table = table_read(content, separator=kept["separator"])
    outcome = list_apply(by=request.user, kind=kept["kind"], table=table)
    if outcome.faulty:
        form = UploadForm(initial=kept)
        context = {"form": form, "words": WORDS, "outcome": outcome, "kind": WORDS[kept["kind"]]}
        return render(request, "office/lists.html", context)
    text = _("%(added)d added, %(changed)d changed.")
    messages.success(request, text % {"added": outcome.added, "changed": outcome.changed})
    return redirect("web:lists")


@page_for(OFFICE)
@require_safe
def download(request: PersonRequest, kind: str, form: str) -> HttpResponse:
    """One whole list; cells that a spreadsheet would run are inert."""
    if kind not in KINDS or form not in FORMATS:
        raise Http404
    data = KINDS[kind]().export()
    content = data.export(form)
    audit(by=request.user, verb="exported", subject=request.user, kind=kind, rows=len(data))
    response = HttpResponse(content, content_type=FORMATS[form])
    response["Content-Disposition"] = f'attachment; filename="{kind}.{form}"'
    return response


def _keep(request: PersonRequest, kind: str, separator: str, content: bytes) -> str:
    """Keep the file for the hour; the ticket names it, signed."""
    ticket = {"by": request.user.pk, "kind": kind, "separator": separator, "name": preview_keep(content)}
    return signing.dumps(ticket, salt=SALT)
