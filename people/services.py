"""Writes on people and their devices."""

import secrets
from datetime import timedelta

from django.db import transaction
from django.utils import timezone

from common.audit import audit
from people.authentication import token_digest
from people.models import DeviceToken, User

TOKEN_LIFE = timedelta(days=365)


@transaction.atomic
def device_token_issue(*, user: User, name: str, life: timedelta = TOKEN_LIFE) -> tuple[DeviceToken, str]:
    """A new token for a device of this person. The text is given once and never kept."""
    text = secrets.token_urlsafe(32)
    token = DeviceToken(user=user, name=name, digest=token_digest(text), expires_at=timezone.now() + life)
    token.full_clean(exclude=["digest"])
    token.save()
    audit(by=user, verb="issued", subject=token, name=name)
    return token, text


@transaction.atomic
def device_token_revoke(*, by: User, token: DeviceToken) -> None:
    """End a token at once."""
    DeviceToken.objects.filter(pk=token.pk, revoked_at__isnull=True).update(revoked_at=timezone.now())
    audit(by=by, verb="revoked", subject=token, name=token.name)
