"""The WSGI entry point."""

import gc
import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.dev")
application = get_wsgi_application()


def settle() -> None:
    """Import every view, then keep the collector off what lives as long as the process.

    A full collection walks all of it, a fifth of a second in the midst of some request.
    """
    _ = get_resolver().url_patterns
    gc.collect()
    gc.freeze()


settle()
