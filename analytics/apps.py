from django.apps import AppConfig


class AnalyticsConfig(AppConfig):
    name = "analytics"

    def ready(self) -> None:
        from analytics import tasks
        from common import outbox, ticking
        from fleet.records import PRICES_CHANGED

        outbox.register(
            "analytics.drift", ["visit.closed", "visit.corrected", "visits.imported"], tasks.visit_told
        )
        outbox.register(
            "analytics.turns", ["visit.closed", "visit.corrected", "visits.imported"], tasks.moves_told
        )
        # after the drift work in the same round, so that it reads what that has just fitted
        outbox.register("analytics.alerts", ["visit.closed", "visit.corrected"], tasks.visit_alerts)
        outbox.register("analytics.prices", [PRICES_CHANGED], tasks.prices_told)
        ticking.register("prices", tasks.prices_what_is_owed)
        ticking.register("drift", tasks.recompute_what_is_owed)
        ticking.register("alerts", tasks.alerts_what_is_owed)
        ticking.register("turns", tasks.learn_what_is_owed)
