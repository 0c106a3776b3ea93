"""Settings every environment shares. Each value that differs is read from the environment, once, at start."""

from pathlib import Path

from environs import Env

BASE_DIR = Path(__file__).resolve().parent.parent.parent
VAR_DIR = BASE_DIR / "var"

env = Env()


def secret(name: str, default: str | None = None) -> str:
    """A secret from `NAME`, or from the file that `NAME_FILE` points to, as container secrets come."""
    file_name = env.str(f"{name}_FILE", None)
    if file_name is not None:
        return Path(file_name).read_text(encoding="utf-8").strip()
    return env.str(name, default) if default is not None else env.str(name)


def database_from_env() -> dict[str, object]:
    """One database: SQLite under var/ unless DATABASE_URL (or DATABASE_URL_FILE) says otherwise."""
    url = secret("DATABASE_URL", f"sqlite:///{VAR_DIR / 'flueledger.sqlite3'}")
    import dj_database_url

    database = dict(dj_database_url.parse(url))
    if database["ENGINE"] == "django.db.backends.sqlite3":
        database["OPTIONS"] = {
            "transaction_mode": "IMMEDIATE",
            "timeout": 20,
            # FULL: what was acknowledged outlives a power cut, which WAL alone does not promise.
            "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;",
        }
    else:
        database["CONN_MAX_AGE"] = None
        database["CONN_HEALTH_CHECKS"] = True
        # Each web process holds its threads' connections for good, so that statements asked often are
        # prepared once each. A pooler that hands connections out by the transaction cannot stand between.
        database["OPTIONS"] = {"server_side_binding": True, "prepare_threshold": 5}
    return database


DATABASES = {"default": database_from_env()}
REDIS_URL = secret("REDIS_URL", "") or None

INSTALLED_APPS = [
    "people.admin_config.HouseAdminConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "axes",
    "django_htmx",
    "import_export",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "common",
    "people",
    "fleet",
    "visits",
    "analytics",
    "planning",
    "web",
]

MIDDLEWARE = [
    "common.logs.RequestIdMiddleware",
    "common.bodies.WholeBodyMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
AUTH_USER_MODEL = "people.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "web:sign-in"
LOGIN_REDIRECT_URL = "web:home"
LOGOUT_REDIRECT_URL = "web:sign-in"

AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_VERBOSE = False
AXES_LOCKOUT_TEMPLATE = "locked_out.html"

FORM_RENDERER = "web.forms.rendering.QuickRenderer"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_I18N = True
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT: Path | None = BASE_DIR / "staticfiles"
STATICFILES_DIRS = [BASE_DIR / "static"]
MEDIA_ROOT = VAR_DIR / "media"

SESSION_ENGINE = "django.contrib.sessions.backends.db"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "data:"],
        "font-src": ["'self'"],
        "connect-src": ["'self'"],
        "form-action": ["'self'"],
        "frame-ancestors": ["'none'"],
        "base-uri": ["'none'"],
    }
}

# Throttles and look-ups must work with Redis away, so the cache never needs it.
CACHES = {"default": {"BACKEND": "django.core.cache.backends.db.DatabaseCache", "LOCATION": "cache"}}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "people.authentication.DeviceTokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["people.permissions.DenyByDefault"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["common.json_parser.PlainJSONParser"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_PAGINATION_CLASS": "common.paging.CursorPaging",
    "EXCEPTION_HANDLER": "common.problems.problem_response",
    "PAGE_SIZE": 50,
    "DEFAULT_THROTTLE_CLASSES": ["people.throttling.PersonThrottle"],
    "STRICT_JSON": True,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Flueledger",
    "VERSION": "1",
    "DESCRIPTION": "Readings in, judgement out. Advice only: follow the maker's instructions, local codes "
    "and licensed practice; nothing here declares an appliance safe.",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["people.permissions.SignedIn"],
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "PATH_CONVERTER_OVERRIDES": {"any_uuid": {"type": "string", "format": "uuid"}},
    "OAS_VERSION": "3.1.0",
    "ENUM_NAME_OVERRIDES": {
        "VisitKindEnum": "visits.models.Kind",
        "SentVisitKindEnum": "visits.models.Kind.values",
        "ApplianceKindEnum": "fleet.models.ApplianceModel.Kind",
        "FuelEnum": "fleet.models.FuelSlug",
        "HeatBasisEnum": ["gross", "net"],
    },
    "COMPONENT_SPLIT_REQUEST": True,
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "common.api_description.document_refusals",
    ],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
}

CELERY_BROKER_URL = REDIS_URL
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_SERIALIZER = "json"
CELERY_TIMEZONE = "UTC"
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TASK_PUBLISH_RETRY = False
CELERY_BROKER_TRANSPORT_OPTIONS = {"socket_timeout": 0.5, "socket_connect_timeout": 0.5}
CELERY_BEAT_SCHEDULE = {
    "tick": {"task": "common.tasks.tick", "schedule": 30.0},
}

EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
# On notices left at an appliance; where empty, a line to fill in by hand.
FIRM_NAME = env.str("FIRM_NAME", "")
FIRM_PHONE = env.str("FIRM_PHONE", "")
# Where a service record says that its code is looked up; where empty, the address it was asked at.
PUBLIC_URL = env.str("PUBLIC_URL", "")
# How closely each technician's readings repeat: shown to nobody unless the firm has agreed on it.
TECHNICIAN_REPEATABILITY = env.bool("TECHNICIAN_REPEATABILITY", False)
DEFAULT_FROM_EMAIL = env.str("DEFAULT_FROM_EMAIL", "flueledger@localhost")

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": env.str("LOG_LEVEL", "WARNING")},
}
