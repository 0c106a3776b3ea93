"""Writes on people and their devices."""

import secrets
import uuid
from collections.abc import Iterable
from datetime import timedelta

from django.contrib.auth.hashers import make_password
from django.db import transaction
from django.db.models import Q, Value
from django.db.models.functions import Concat, Trim
from django.utils import timezone

from common.audit import audit
from people.authentication import token_digest
from people.models import DeviceToken, Role, Technician, User

TOKEN_LIFE = timedelta(days=365)
PAST_TECHNICIANS = uuid.UUID("b932fc79-852e-5e96-8da3-98253af21249")


@transaction.atomic
def device_token_issue(*, user: User, name: str, life: timedelta = TOKEN_LIFE) -> tuple[DeviceToken, str]:
    """A new token for a device of this person. The text is given once and never kept."""
    text = secrets.token_urlsafe(32)
    token = DeviceToken(user=user, name=name, digest=token_digest(text), expires_at=timezone.now() + life)
    token.full_clean(exclude=["digest", "last_used_at", "revoked_at"])
    token.save()
    audit(by=user, verb="issued", subject=token, name=name)
    return token, text


@transaction.atomic
def device_token_revoke(*, by: User, token: DeviceToken) -> None:
    """End a token at once."""
    DeviceToken.objects.filter(pk=token.pk, revoked_at__isnull=True).update(revoked_at=timezone.now())
    audit(by=by, verb="revoked", subject=token, name=token.name)


def technicians_ensure(*, names: Iterable[str]) -> dict[str, int]:
    """Make sure of a technician for each full name, as old records give it. Returns user ids by name.

    Someone who is on file as a technician under that full name or user name is taken. Else a user is made who
    cannot sign in: inactive, without a password, with a user name drawn from the full name, so that two
    imports at once make one. Names have at most 150 characters. A fixed number of queries.
    """
    wanted = {name: " ".join(name.split()) for name in names}
    with transaction.atomic():
        known = _technicians_by_name(wanted.values())
        missing = {full for full in wanted.values() if full not in known}
        if missing:
            User.objects.bulk_create([_past_technician(full) for full in missing], ignore_conflicts=True)
            known = _technicians_by_name(wanted.values())
        without_row = User.objects.filter(pk__in=set(known.values()), technician__isnull=True)
        Technician.objects.bulk_create([Technician(user=user) for user in without_row], ignore_conflicts=True)
    return {name: known[full] for name, full in wanted.items()}


def _technicians_by_name(full_names: Iterable[str]) -> dict[str, int]:
    """User ids by full name or user name; of two with one name, who can sign in, then the older."""
    names = set(full_names)
    users = (
        User.objects.filter(Q(role=Role.TECHNICIAN) | Q(technician__isnull=False))
        .annotate(full=Trim(Concat("first_name", Value(" "), "last_name")))
        .filter(Q(full__in=names) | Q(username__in=names))
        .order_by("is_active", "-pk")
    )
    rows = list(users.values_list("pk", "full", "username"))
    by_username = {username: pk for pk, _, username in rows}
    return by_username | {full: pk for pk, full, _ in rows if full}


def _past_technician(full_name: str) -> User:
    first, _, last = full_name.rpartition(" ")
    return User(
        username=f"imported-{uuid.uuid5(PAST_TECHNICIANS, full_name).hex}",
        first_name=first or last,
        last_name=last if first else "",
        role=Role.TECHNICIAN,
        is_active=False,
        password=make_password(None),
    )
