from django.apps import AppConfig
from django.urls import register_converter

from common.addresses import AnyCaseUUID


class CommonConfig(AppConfig):
    name = "common"

    def ready(self) -> None:
        """Before any address is read."""
        register_converter(AnyCaseUUID, "any_uuid")
