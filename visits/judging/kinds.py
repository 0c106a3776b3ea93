"""What a kind of finding is made of."""

from dataclasses import dataclass

from django.utils.functional import Promise

from visits.models import Severity

Sentence = str | Promise


@dataclass(frozen=True)
class FindingKind:
    """One kind of finding. The sentence is filled from the finding's value, limit, unit and evidence.

    stays: a later visit does not end it; a person says that it is done.
    """

    severity: Severity
    title: Sentence
    sentence: Sentence
    what_to_do: Sentence
    keeps_out_of_drift: bool = False
    stays: bool = False
