from django.apps import AppConfig


class VisitsConfig(AppConfig):
    name = "visits"

    def ready(self) -> None:
        from common import outbox
        from visits import remedies

        outbox.register(
            "visits.findings",
            ["visit.closed", "visit.corrected", "visits.imported"],
            remedies.event_settle,
        )
