from django.apps import AppConfig


class PlanningConfig(AppConfig):
    name = "planning"

    def ready(self) -> None:
        from common import outbox, ticking
        from planning import tasks

        outbox.register(
            "planning.due_dates", ["visit.closed", "visit.corrected", "visits.imported"], tasks.visit_told
        )
        ticking.register("planning", tasks.plan_what_is_owed)
