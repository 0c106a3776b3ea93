"""Accounts by invitation: nobody chooses another person's password."""

from collections.abc import Callable

from django.contrib.auth.tokens import default_token_generator
from django.core.exceptions import PermissionDenied
from django.core.mail import send_mail
from django.db import transaction
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from common.audit import audit
from common.problems import Problem, field_error
from people.models import Role, User
from people.permissions import role_of, sees_everything

LinkMaker = Callable[[str, str], str]
"""From the person's encoded id and a token to the whole address at which a password is chosen."""


def can_invite(user: User, role: str) -> bool:
    """Office people invite technicians and contacts; only an administrator invites the rest."""
    if role_of(user) == Role.ADMINISTRATOR:
        return True
    return sees_everything(user) and role in (Role.TECHNICIAN, Role.CONTACT)


@transaction.atomic
def person_invite(
    *,
    by: User,
    email: str,
    first_name: str,
    last_name: str,
    role: str,
    subject: str,
    text: str,
    link: LinkMaker,
) -> User:
    """A new person who cannot sign in until they have chosen a password through the link sent to them.

    text: the letter, with `{link}` where the address goes.  Raises Problem `email_taken`.
    """
    if not can_invite(by, role):
        raise PermissionDenied
    address = email.strip().lower()
    if User.objects.filter(username=address).exists():
        detail = f"There is an account with the address {address}."
        raise Problem("email_taken", detail, errors=[field_error("/email", "email_taken", detail)])
    person = User(username=address, email=address, first_name=first_name, last_name=last_name, role=role)
    person.set_unusable_password()
    person.full_clean()
    person.save()
    audit(by=by, verb="invited", subject=person, role=role)
    transaction.on_commit(lambda: invitation_send(person=person, subject=subject, text=text, link=link))
    return person


def invitation_send(*, person: User, subject: str, text: str, link: LinkMaker) -> None:
    """Send the letter, again if need be; each letter's link works once and ends as a reset's does."""
    encoded = urlsafe_base64_encode(force_bytes(person.pk))
    address = link(encoded, default_token_generator.make_token(person))
    send_mail(subject, text.replace("{link}", address), None, [person.email])


@transaction.atomic
def invitation_repeat(*, by: User, person: User, subject: str, text: str, link: LinkMaker) -> None:
    """Send the letter again to somebody who has not chosen a password yet; earlier letters' links still end
    as they would have.  Raises Problem `invitation_used` where they have.
    """
    if not can_invite(by, person.role):
        raise PermissionDenied
    if person.has_usable_password() or not person.is_active:
        detail = f"{person} has chosen a password already; a forgotten one is reset from the sign-in page."
        raise Problem("invitation_used", detail, status=409)
    audit(by=by, verb="invited_again", subject=person)
    transaction.on_commit(lambda: invitation_send(person=person, subject=subject, text=text, link=link))


@transaction.atomic
def person_end(*, by: User, person: User) -> None:
    """Let somebody in no longer; what they recorded stays under their name."""
    if not can_invite(by, person.role) or person.pk == by.pk:
        raise PermissionDenied
    User.objects.filter(pk=person.pk).update(is_active=False)
    audit(by=by, verb="ended", subject=person)
