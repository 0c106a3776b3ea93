from django.apps import AppConfig


class VisitsConfig(AppConfig):
    name = "visits"

    def ready(self) -> None:
        from common import outbox
        from visits import left_off, remedies

        outbox.register(
            "visits.findings",
            ["visit.closed", "visit.corrected", "visits.imported"],
            remedies.event_settle,
        )
        outbox.register("visits.left_off", ["visit.closed", "visit.corrected"], left_off.event_leave_off)
