from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "web"

    def ready(self) -> None:
        from common import ticking
        from web import uploads

        ticking.register("web.uploads", uploads.previews_clear)
