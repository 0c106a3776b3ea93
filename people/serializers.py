"""What goes in and out of the REST addresses of people."""

from typing import Any

from rest_framework import serializers

from people.models import DeviceToken


class SignInSerializer(serializers.Serializer[Any]):
    """A person, and what they call the device that is to send for them."""

    username = serializers.CharField(max_length=150)
    password = serializers.CharField(max_length=200, write_only=True, trim_whitespace=False)
    name = serializers.CharField(max_length=80, help_text="What you call this device.")


class DeviceTokenSerializer(serializers.ModelSerializer[DeviceToken]):
    """A token without its text, which is never kept."""

    username = serializers.CharField(source="user.username", read_only=True)
    this_device = serializers.SerializerMethodField(help_text="The token that this request came with.")

    class Meta:
        model = DeviceToken
        fields = ["id", "name", "username", "created_at", "last_used_at", "expires_at", "this_device"]
        read_only_fields = fields

    def get_this_device(self, token: DeviceToken) -> bool:
        return getattr(self.context["request"].auth, "pk", None) == token.pk


class IssuedTokenSerializer(serializers.Serializer[Any]):
    """A new token, with its text this once."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    expires_at = serializers.DateTimeField()
    token = serializers.CharField(help_text="Send it as `Authorization: Bearer …`. It is not shown again.")
