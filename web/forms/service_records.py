"""Looking a service record up by its code, and comparing a file with it."""

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from visits.service_record.checking import MAX_FILE_BYTES
from visits.service_record.codes import code_read, code_shown


class CheckForm(forms.Form):
    """The code as printed."""

    code = forms.CharField(
        label=gettext_lazy("Code on the record"),
        max_length=40,
        help_text=gettext_lazy(
            "Three groups of four letters and figures. Capitals and hyphens do not matter."
        ),
    )

    def clean_code(self) -> str:
        """The code in three groups."""
        code = code_read(self.cleaned_data["code"])
        if code is None:
            raise forms.ValidationError(_("A code has twelve letters and figures, in three groups of four."))
        return code_shown(code)


class FileForm(forms.Form):
    """A copy of the PDF."""

    file = forms.FileField(label=gettext_lazy("A copy of the PDF"))

    def clean_file(self) -> object:
        """No larger than any record is."""
        file = self.cleaned_data["file"]
        if file.size > MAX_FILE_BYTES:
            size, most = f"{file.size:,}", f"{MAX_FILE_BYTES:,}"
            text = _("The file has %(size)s bytes; no record has more than %(most)s.")
            raise forms.ValidationError(text % {"size": size, "most": most})
        return file
