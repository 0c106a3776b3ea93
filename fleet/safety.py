"""Setting an appliance's safety state, and telling the office once."""

from datetime import datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.core.mail import send_mail
from django.db import transaction
from django.utils import timezone

from common.audit import audit
from common.models import OutboxEvent
from common.outbox import announce
from common.problems import Problem, field_error
from fleet.models import Appliance, SafetyCategory, SafetyEvent, SafetyState
from fleet.models.safety import OFF
from people.models import Role, User
from people.permissions import works_here

KIND = "safety.set"


def safety_state_set(
    *,
    by: User,
    appliance: Appliance,
    state: str,
    reason: str,
    last_event: int | None,
    told: str = "",
    answer: str = "",
    at: datetime | None = None,
    category: str = "",
    key: UUID | None = None,
) -> SafetyEvent:
    """Note that a person put an appliance into a safety state, why, and who was told.

    last_event: id of the newest event the person has seen, 0 for none; None only where it is left off or
    isolated, which needs no look at what stood before: then an event of a later hour is not undone.
    told: by name, at the site; an acknowledgement or refusal needs it, and so does leaving off or isolating
    unless nobody could be reached.   category: code of the country's word for the danger.
    key: the device's own; sent again with it, the same event is answered and nothing is written.
    Raises Problem `changed_meanwhile`, `key_reused`, `required`, `not_off` or `in_the_future`; then nothing
    is written.
    """
    if not works_here(by):
        raise PermissionDenied
    with transaction.atomic():
        held = Appliance.objects.select_for_update().get(pk=appliance.pk)
        before = SafetyEvent.objects.filter(key=key).first() if key is not None else None
        if before is not None:
            sent = (held.pk, by.pk, state, reason, told, answer, category)
            return _sent_before(before, sent)
        newest = held.safety_events.select_related("by").order_by("-pk").first()
        _refuse_if_changed(held, newest, state, last_event, at)
        _refuse_unless_complete(held, state, reason, told, answer, at)
        event = safety_event_add(
            by=by,
            appliance=held,
            state=state,
            reason=reason,
            at=at or timezone.now(),
            told=told,
            answer=answer,
            category=category,
            key=key,
        )
    appliance.safety_state = state
    return event


def safety_event_add(
    *,
    by: User | None,
    appliance: Appliance,
    state: str,
    reason: str,
    at: datetime,
    told: str = "",
    answer: str = "",
    visit_uuid: UUID | None = None,
    category: str = "",
    key: UUID | None = None,
) -> SafetyEvent:
    """Write the event and the appliance's state, and announce it, inside the caller's transaction."""
    event = SafetyEvent(
        appliance=appliance,
        state=state,
        at=at,
        by=by,
        told=told,
        answer=answer,
        reason=reason,
        visit_uuid=visit_uuid,
        category=category,
        category_name=_category_name(appliance, category),
        key=key,
    )
    event.full_clean()
    event.save()
    Appliance.objects.filter(pk=appliance.pk).update(safety_state=state)
    audit(by=by, verb="safety_state_set", subject=appliance, state=state, event=event.pk)
    announce(KIND, event.pk, appliance=appliance.pk)
    return event


def categories_of(country: str) -> list[SafetyCategory]:
    """The words of a country's trade for a dangerous condition; the general ones where it has none."""
    rows = list(SafetyCategory.objects.filter(country__in={"", country}, listed=True))
    return [row for row in rows if row.country == country] or [row for row in rows if not row.country]


def office_alert(event: OutboxEvent) -> None:
    """The outbox's door: one letter to the office for each appliance left off or isolated."""
    row = SafetyEvent.objects.select_related("appliance__plant__site__customer", "by").get(
        pk=event.subject_id
    )
    letters = _office_addresses()
    if row.state in OFF and letters:
        send_mail(_subject(row), _letter(row), None, letters)


def _office_addresses() -> list[str]:
    office = User.objects.filter(is_active=True, role=Role.OFFICE).exclude(email="")
    return list(office.order_by("pk").values_list("email", flat=True))


def _subject(row: SafetyEvent) -> str:
    return f"{row.get_state_display().capitalize()}: {row.appliance.tag}, {row.appliance.plant.site}"


def _letter(row: SafetyEvent) -> str:
    plant = row.appliance.plant
    zone = plant.site.zone
    lines = [
        f"{row.appliance.tag}, {plant}, {plant.site}, {plant.site.customer}",
        f"State: {row.get_state_display()}, {timezone.localtime(row.at, zone):%d %b %Y %H:%M %Z}",
        f"Set by: {row.by or 'a visit without a known technician'}",
        *([f"Category: {row.category_name}"] if row.category_name else []),
        f"Why: {row.reason}",
        f"Told: {row.told or 'nobody is noted as told'}"
        + (f" ({row.get_answer_display()})" if row.answer else ""),
        "",
        "See that it stays off, that the customer knows, and that a licensed person is on the way.",
    ]
    return "\n".join(lines)


def _refuse_unless_complete(
    held: Appliance, state: str, reason: str, told: str, answer: str, at: datetime | None
) -> None:
    if not reason:
        raise _refused("reason", "required", "A safety state needs its reason.")
    if state == SafetyState.RETURNED and held.safety_state not in OFF:
        raise _refused(
            "state", "not_off", f"It is {held.get_safety_state_display()}; only what was off is returned."
        )
    if state in OFF and not told and answer != SafetyEvent.Answer.NOT_REACHED:
        raise _refused("told", "required", "Say who was told, or that nobody could be reached.")
    if answer in (SafetyEvent.Answer.ACKNOWLEDGED, SafetyEvent.Answer.REFUSED) and not told:
        raise _refused("told", "required", "An acknowledgement or refusal names who gave it.")
    if at is not None and at > timezone.now():
        raise _refused("at", "in_the_future", "That moment has not come yet.")


def _category_name(appliance: Appliance, code: str) -> str:
    """Its name today. A code that is not listed is kept as it came: a device may hold an older list."""
    if not code:
        return ""
    country = appliance.plant.site.customer.country
    return next((row.name for row in categories_of(country) if row.code == code), code)


def _sent_before(before: SafetyEvent, sent: tuple[object, ...]) -> SafetyEvent:
    held = (before.appliance_id, before.by_id, before.state, before.reason, before.told, before.answer)
    if (*held, before.category) == sent:
        return before
    raise Problem("key_reused", "This key was another event. Make a new key for a new event.", status=409)


def _refuse_if_changed(
    held: Appliance,
    newest: SafetyEvent | None,
    state: str,
    last_event: int | None,
    at: datetime | None,
) -> None:
    """Leaving it off is taken from whoever stands there, returning it only from who saw why it was off."""
    if last_event is None:
        if state not in OFF:
            raise _refused("last_event", "required", "Say which event is the newest you have seen.")
        if newest is not None and at is not None and newest.at > at:
            raise _changed_meanwhile(held, newest)
    elif last_event != (newest.pk if newest else 0):
        raise _changed_meanwhile(held, newest)


def _refused(field: str, code: str, detail: str) -> Problem:
    return Problem(code, detail, errors=[field_error(f"/{field}", code, detail)])


def _changed_meanwhile(held: Appliance, newest: SafetyEvent | None) -> Problem:
    who = str(newest.by) if newest and newest.by else "a visit"
    detail = f"Meanwhile {who} set it to «{held.get_safety_state_display()}». Look again before you save."
    return Problem("changed_meanwhile", detail, status=409, last_event=newest.pk if newest else 0)
