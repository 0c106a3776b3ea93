"""An analyser's log beside a firing test: pasted or chosen as a file, its columns named by the person."""

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.units import MEASURES
from visits.analyser_log import SECONDS, TIME, Clock, LogRefused, Table, columns_guess, log_readings, table_of
from visits.analyser_log.columns import UNITS, choice_of
from visits.analyser_log.table import LONGEST_TEXT

MOST_BYTES = 2 * LONGEST_TEXT
Known = Mapping[str, Sequence[str]]
"""What the columns of a header held when a person last said so."""


class LogForm(forms.Form):
    """The log of one firing test. `readings` is what it says, empty where there is none or it is refused."""

    text = forms.CharField(
        label=gettext_lazy("The log, as text"),
        required=False,
        strip=False,
        widget=forms.Textarea(
            attrs={"rows": 4, "spellcheck": "false", "autocomplete": "off", "class": "plain"}
        ),
        help_text=gettext_lazy(
            "Tabs, semicolons or commas; decimal point or comma; a column with the time or with seconds."
        ),
    )
    file = forms.FileField(
        label=gettext_lazy("Or a file of it"),
        required=False,
        help_text=gettext_lazy("Plain text. It takes the place of what is pasted."),
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt,text/*"}),
    )
    ended_at = forms.TimeField(
        label=gettext_lazy("Its last reading was read at"),
        required=False,
        help_text=gettext_lazy(
            "Only where the analyser's clock is off. A log that counts seconds ends at the save, unless said."
        ),
        widget=forms.TimeInput(attrs={"type": "time", "step": "1"}, format="%H:%M:%S"),
    )
    upto = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)
    """Take only so many of its readings: the rest is still to be played."""
    header = forms.CharField(required=False, widget=forms.HiddenInput)
    """Which header the columns below were chosen for: those of another log are guessed anew."""

    def __init__(self, data: Any, files: Any, *, prefix: str, clock: Clock | None, known: Known) -> None:
        self._clock, self._known = clock, known
        self._refused: tuple[str, ...] = ()
        self.table: Table | None = None
        self.readings: list[dict[str, Any]] = []
        super().__init__(self._told(data, files, prefix), prefix=prefix)
        examples: list[tuple[str, str]] = self.table.examples if self.table else []
        for place, (name, example) in enumerate(examples):
            self.fields[f"column{place}"] = forms.ChoiceField(
                label=_("«%(name)s», such as %(example)s") % {"name": name, "example": example or "–"},
                choices=_column_choices,
                required=False,
            )

    @property
    def basics(self) -> list[forms.BoundField]:
        """What is asked of every log."""
        return [self[name] for name in ("text", "file", "ended_at")]

    @property
    def columns(self) -> list[forms.BoundField]:
        """One choice per column, once a log was seen."""
        return [field for field in self if field.name.startswith("column")]

    @property
    def open(self) -> bool:
        """Something stands in it, or is refused."""
        return bool(self.errors or self["text"].value()) if self.is_bound else False

    @property
    def chosen(self) -> dict[str, list[str]]:
        """What the person says the columns of this header hold, by the header."""
        if self.table is None:
            return {}
        return {_fingerprint(self.table): [self.cleaned_data[field.name] for field in self.columns]}

    def clean(self) -> dict[str, Any]:
        """The readings that the log holds."""
        cleaned = super().clean() or self.cleaned_data
        if self.table is not None and not self.errors:
            try:
                self.readings = self._read(self.table)
            except LogRefused as refused:
                self._refused = refused.sentences
        for sentence in self._refused:
            self.add_error("text", sentence)
        return cleaned

    def _read(self, table: Table) -> list[dict[str, Any]]:
        clock, ended = self._clock, self.cleaned_data.get("ended_at")
        if clock is None:
            raise LogRefused(_("A log can be read only into a visit."))
        if ended is not None:
            ended_at = datetime.combine(clock.day, ended, tzinfo=clock.zone)
            clock = Clock(clock.day, clock.zone, clock.now, ended_at)
        columns = [self.cleaned_data[field.name] for field in self.columns]
        return log_readings(table, columns, clock)[: self.cleaned_data.get("upto")]

    def _told(self, data: Any, files: Any, prefix: str) -> dict[str, Any] | None:
        """What was sent, the file's text as if it had been pasted, and a guess where no column was chosen."""
        if data is None:
            return None
        told = {name: data.get(name) for name in data if name.startswith(f"{prefix}-")}
        file = files.get(f"{prefix}-file") if files else None
        try:
            if file is not None:
                told[f"{prefix}-text"] = _text_of(file)
            text = told.get(f"{prefix}-text") or ""
            if not text.strip():
                return told
            self.table = table_of(text)
        except LogRefused as refused:
            self._refused = refused.sentences
            return told
        header = _fingerprint(self.table)
        if told.get(f"{prefix}-header") != header:
            columns = self._known.get(header) or columns_guess(self.table)
            told |= {f"{prefix}-column{place}": choice for place, choice in enumerate(columns)}
            told[f"{prefix}-header"] = header
        return told


def _text_of(file: "UploadedFile[Any]") -> str:
    raw = file.read(MOST_BYTES + 1)
    if len(raw) > MOST_BYTES:
        raise LogRefused(
            _("The file has more than %(most)d kB; at most as many.") % {"most": MOST_BYTES // 1000}
        )
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            return str(raw.decode(encoding))
        except UnicodeDecodeError:
            continue
    raise LogRefused(_("The file is no plain text (neither UTF-8 nor Windows-1252)."))


def _fingerprint(table: Table) -> str:
    return hashlib.sha256("\n".join(table.header).encode()).hexdigest()[:16]


def _column_choices() -> list[tuple[str, Any]]:
    choices: list[tuple[str, Any]] = [("", _("not used")), (TIME, _("time")), (SECONDS, _("seconds"))]
    for quantity, units in UNITS.items():
        choices += [(choice_of(quantity, unit), f"{MEASURES[quantity].label}, {unit}") for unit in units]
    return choices
