"""The Celery application. Without REDIS_URL nothing needs it: `manage.py tick` does the same work."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.dev")
app = Celery("flueledger")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
