"""Settings for the demo and for development on one's own machine."""

from config.settings.base import *  # noqa: F403
from config.settings.base import VAR_DIR, env

DEBUG = env.bool("DEBUG", False)
SECRET_KEY = env.str("SECRET_KEY", "development-only-and-worthless-elsewhere")
ALLOWED_HOSTS = ["127.0.0.1", "localhost", "[::1]", "testserver"]
VAR_DIR.mkdir(exist_ok=True)

# Static files straight from the apps: nothing to collect before the first page.
STATIC_ROOT = None
WHITENOISE_USE_FINDERS = True
