"""Photographs that are sent with the visit form, or after it."""

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from visits.photographs.picture import MAX_BYTES, TYPES
from visits.photographs.service import PER_VISIT
from web.forms.visit.sheet import Asked


class _ManyFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class _FilesField(forms.FileField):
    """Any number of files. What they are is checked by content when they are taken."""

    widget = _ManyFiles

    def clean(self, data: Any, initial: Any = None) -> "list[UploadedFile[Any]]":
        files = [super(_FilesField, self).clean(file, initial) for file in data or []]
        if len(files) > PER_VISIT:
            raise forms.ValidationError(
                _("%(sent)d photographs; at most %(most)d a visit.") % {"sent": len(files), "most": PER_VISIT}
            )
        for file in files:
            if file.size > MAX_BYTES:
                raise forms.ValidationError(
                    _("%(name)s has %(size).1f MB; at most %(most)d MB.")
                    % {"name": file.name, "size": file.size / 1e6, "most": MAX_BYTES / 1e6}
                )
        return files


class PhotographsForm(forms.Form):
    """Files, what they show, and a caption for all of them."""

    photos = _FilesField(
        label=gettext_lazy("Photographs"),
        required=False,
        help_text=gettext_lazy(
            "Kept without position and camera data. Choose them last: a refused save forgets them."
        ),
        widget=_ManyFiles(attrs={"accept": ",".join(TYPES)}),
    )
    item = forms.ChoiceField(label=gettext_lazy("What they show"), required=False)
    caption = forms.CharField(label=gettext_lazy("Caption"), max_length=200, required=False)

    def __init__(self, *args: Any, asked: Asked | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        steps = asked.items["steps"] if asked else []
        groups = [(step["title"], [(row["code"], row["text"]) for row in step["items"]]) for step in steps]
        self.fields["item"].choices = [("", _("the visit as a whole")), *groups]  # type: ignore[attr-defined]
