from django.apps import AppConfig


class VisitsConfig(AppConfig):
    name = "visits"

    def ready(self) -> None:
        from common import outbox, ticking
        from visits import left_off, remedies
        from visits.judging.tasks import judge_what_is_owed
        from visits.photographs import service as photographs

        outbox.register(
            "visits.findings",
            ["visit.closed", "visit.corrected", "visits.imported"],
            remedies.event_settle,
        )
        ticking.register("visits.photographs", photographs.parts_clear)
        outbox.register("visits.left_off", ["visit.closed", "visit.corrected"], left_off.event_leave_off)
        ticking.register("visits.judging", judge_what_is_owed)
