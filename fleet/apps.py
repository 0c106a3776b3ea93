from django.apps import AppConfig


class FleetConfig(AppConfig):
    name = "fleet"

    def ready(self) -> None:
        from common import outbox
        from fleet import safety

        outbox.register("fleet.office_alert", [safety.KIND], safety.office_alert)
