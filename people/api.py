"""Devices: sign one in, list them, end one."""

from typing import Any, cast

from django.contrib.auth import authenticate
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import status
from rest_framework.generics import DestroyAPIView, ListAPIView
from rest_framework.permissions import AllowAny, BasePermission
from rest_framework.request import Request
from rest_framework.response import Response

from common.problems import Problem
from people.models import DeviceToken, User
from people.permissions import SignedIn
from people.selectors import device_tokens_visible_to
from people.serializers import DeviceTokenSerializer, IssuedTokenSerializer, SignInSerializer
from people.services import device_token_issue, device_token_revoke
from people.throttling import PersonThrottle, SignInThrottle


class DeviceTokens(ListAPIView[DeviceToken]):
    """The devices that may send for a person."""

    serializer_class = DeviceTokenSerializer

    def get_queryset(self) -> QuerySet[DeviceToken]:
        return device_tokens_visible_to(self.request.user)

    def get_permissions(self) -> list[BasePermission]:
        return [AllowAny() if self.request.method == "POST" else SignedIn()]

    def get_authenticators(self) -> list[Any]:
        # A device that signs in has nothing to show yet, and an old token must not stand in its way.
        signing_in = self.request is not None and self.request.method == "POST"
        return [] if signing_in else super().get_authenticators()

    def get_throttles(self) -> list[Any]:
        return [SignInThrottle() if self.request.method == "POST" else PersonThrottle()]

    @extend_schema(auth=[], request=SignInSerializer, responses={201: IssuedTokenSerializer})
    def post(self, request: Request) -> Response:
        """Sign a device in with a name and a password, once; it keeps the token and forgets the password."""
        asked = SignInSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        user = _person(request, asked.validated_data["username"], asked.validated_data["password"])
        token, text = device_token_issue(user=user, name=asked.validated_data["name"])
        answer = {"id": token.pk, "name": token.name, "expires_at": token.expires_at, "token": text}
        return Response(IssuedTokenSerializer(answer).data, status=status.HTTP_201_CREATED)


class DeviceTokenEnd(DestroyAPIView[DeviceToken]):
    """One device."""

    permission_classes = [SignedIn]
    throttle_classes = [PersonThrottle]
    serializer_class = DeviceTokenSerializer

    def get_queryset(self) -> QuerySet[DeviceToken]:
        return device_tokens_visible_to(self.request.user)

    @extend_schema(responses={204: OpenApiResponse(description="Revoked: the device is signed out.")})
    def delete(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Sign a device out for good. What it has sent stays."""
        device_token_revoke(by=cast(User, request.user), token=self.get_object())
        return Response(status=status.HTTP_204_NO_CONTENT)


def _person(request: Request, username: str, password: str) -> User:
    """Whoever has this name and password. The lock-out counts wrong ones by name and address."""
    # The framework's own request is left unmarked, so that the refusal below stays a problem document.
    user = authenticate(request, username=username, password=password)
    if getattr(request, "axes_locked_out", False):
        raise Problem(
            "locked_out",
            "Too many wrong passwords for this name from this address. Wait a quarter of an hour.",
            status=status.HTTP_429_TOO_MANY_REQUESTS,
        )
    if not isinstance(user, User):
        raise Problem(
            "sign_in_refused",
            "Name or password is wrong, or the account is closed.",
            status=status.HTTP_401_UNAUTHORIZED,
            headers={"WWW-Authenticate": 'Bearer realm="flueledger"'},
        )
    return user
