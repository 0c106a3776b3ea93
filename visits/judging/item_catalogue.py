"""Findings on the items of the list, on tightness, and on what was not put back."""

from django.utils.translation import gettext_lazy as _

from visits.judging.kinds import FindingKind
from visits.models import Severity

_MAKER = _("Follow the maker's instructions and local codes.")

ITEM_FINDINGS: dict[str, FindingKind] = {
    "tightness_not_confirmed": FindingKind(
        Severity.ACT,
        _("Tightness not confirmed"),
        _("{opened} was opened ({by}) and no answer says that it was proved tight afterwards."),
        _(
            "Not fired before it is proved tight, by the procedure of the country: isolate, test, note the "
            "result. A leak or a smell of gas: make safe first, follow local procedure."
        ),
        stays=True,
    ),
    "item_failed": FindingKind(
        Severity.ACT,
        _("Checked and found wanting"),
        _("{item}: {answer} ({source}). {note}"),
        _(
            "Where it guards against danger leave the appliance off, label it, follow local procedure. "
            "Follow the maker's instructions and local codes."
        ),
    ),
    "item_attention": FindingKind(
        Severity.ADVISE, _("Needs attention"), _("{item}: {answer} ({source}). {note}"), _MAKER
    ),
    "item_outside": FindingKind(
        Severity.ACT,
        _("Measured outside its limits"),
        _("{item}: {value} {unit}, limit {limit} {unit} ({source})."),
        _MAKER,
    ),
    "item_outside_practice": FindingKind(
        Severity.ADVISE,
        _("Measured outside common practice"),
        _("{item}: {value} {unit}, limit {limit} {unit} ({source})."),
        _("Check the reading; the maker's figure decides. Follow the maker's instructions and local codes."),
    ),
    "item_not_done": FindingKind(
        Severity.ADVISE,
        _("Left undone on a completed visit"),
        _("{item}: not done. Reason: {reason}"),
        _("Do it, or have the office arrange when it is done."),
    ),
    "items_unanswered": FindingKind(
        Severity.NOTE,
        _("Items without an answer"),
        _("{value} of the list's items have no answer: {items}"),
        _("Answer each: done, not done, or not applicable with the reason."),
    ),
    "item_reason_missing": FindingKind(
        Severity.NOTE,
        _("No reason given"),
        _("{item}: {answer}, and no reason is given."),
        _("Say why."),
    ),
    "item_unreadable": FindingKind(
        Severity.NOTE,
        _("An answer that cannot be judged"),
        _("{item}: {detail}"),
        _("Check the entry; the record keeps it as it came."),
    ),
    "item_unknown": FindingKind(
        Severity.NOTE,
        _("Not on this visit's list"),
        _("«{code}» is not on the list for this appliance and kind of visit."),
        _("Check the entry; the office corrects the list if it belongs there."),
    ),
    "put_back_reason_missing": FindingKind(
        Severity.ADVISE,
        _("Not put back, and no reason given"),
        _("The visit was completed with «{what}» still changed, and nobody said why."),
        _("Say why, and have the office arrange who puts it back."),
    ),
    "plant_setting_changed": FindingKind(
        Severity.ACT,
        _("A setting of the plant is not as it was"),
        _("{unit_name}: «{setting}» was «{before}» before the attendance and is «{after}» after it."),
        _("Put it back, or say why it stays changed."),
        stays=True,
    ),
}
