from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "people"

    def ready(self) -> None:
        from people import openapi  # noqa: F401  (registers the scheme)
