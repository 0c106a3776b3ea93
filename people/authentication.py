"""Sign in with a device's token: `Authorization: Bearer …`."""

import hashlib
from datetime import timedelta

from django.db import models
from django.utils import timezone
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from common.prepared import Bind, Prepared
from people.models import DeviceToken, User

NOTE_USE_EVERY = timedelta(minutes=10)


def token_digest(token: str) -> bytes:
    """What is kept of a token. It is 256 random bits, so a plain hash is enough."""
    return hashlib.sha256(token.encode()).digest()


_tokens = Prepared(
    lambda: DeviceToken.objects.select_related("user").filter(digest=Bind("digest", models.BinaryField()))
)


class DeviceTokenAuthentication(BaseAuthentication):
    """The token's person; `request.auth` is the DeviceToken."""

    def authenticate(self, request: Request) -> tuple[User, DeviceToken] | None:
        parts = get_authorization_header(request).split()
        if not parts or parts[0].lower() != b"bearer":
            return None
        if len(parts) != 2:
            raise AuthenticationFailed("The header must read: Authorization: Bearer TOKEN.")
        token = next(iter(_tokens(digest=token_digest(parts[1].decode("latin-1")))), None)
        now = timezone.now()
        if token is None or token.revoked_at is not None or token.expires_at <= now:
            raise AuthenticationFailed("This token is unknown, expired or revoked. Sign the device in again.")
        if not token.user.is_active:
            raise AuthenticationFailed("This account is closed.")
        if token.last_used_at is None or now - token.last_used_at > NOTE_USE_EVERY:
            DeviceToken.objects.filter(pk=token.pk).update(last_used_at=now)
        return token.user, token

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="flueledger"'
