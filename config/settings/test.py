"""Settings for the test suite: SQLite in memory unless DATABASE_URL names another database."""

from config.settings.base import *  # noqa: F403
from config.settings.base import CACHES, DATABASES

SECRET_KEY = "tests-only"  # noqa: S105
DEBUG = False
ALLOWED_HOSTS = ["testserver", "127.0.0.1", "localhost"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
CACHES["default"] = {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_AUTOREFRESH = True
CELERY_BROKER_URL = None
DATABASES["default"].pop("CONN_MAX_AGE", None)
