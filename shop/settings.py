"""All settings, read strictly from the environment: a junk value stops the start with one line.

The names are listed in the handbook (`/help/deployment/`); a test compares the two. `NAME_FILE` gives the file that holds a secret.
"""

from __future__ import annotations

import os
import secrets
import sys
from pathlib import Path

import csp.constants
import environs
from django.core.exceptions import ImproperlyConfigured

BASE_DIR = Path(__file__).resolve().parent.parent
env = environs.Env()


def stop(sentence: str) -> None:
    """Wrong configuration is the administrator's to mend: one clear line and exit code 2, not a traceback."""
    if "pytest" in sys.modules:
        raise ImproperlyConfigured(sentence)
    print(f"Settings: {sentence}", file=sys.stderr)  # noqa: T201  # no logging exists yet
    raise SystemExit(2)


def secret(name: str) -> str:
    """A secret from NAME, or from the file that NAME_FILE points to."""
    path = os.environ.get(f"{name}_FILE", "")
    if not path:
        return os.environ.get(name, "")
    try:
        return Path(path).read_text().strip()
    except OSError as error:
        stop(f"{name}_FILE cannot be read ({error.strerror}): {path}")
        return ""


def generated_secret(path: Path) -> str:
    """A secret of this installation, made at the first start and readable by its owner only: there is no constant key."""
    try:
        return path.read_text().strip()
    except FileNotFoundError:
        path.parent.mkdir(parents=True, exist_ok=True)
        text = secrets.token_urlsafe(50)
        try:
            with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
                file.write(text)
        except FileExistsError:  # another process was faster
            return path.read_text().strip()
        return text


try:
    DATA_DIR = Path(env.str("DATA_DIR", str(BASE_DIR / ".data")))
    DEBUG = env.bool("DEBUG", False)
    ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", ["127.0.0.1", "localhost", "[::1]"])
    CSRF_TRUSTED_ORIGINS: list[str] = env.list("CSRF_TRUSTED_ORIGINS", [])
    SERVED_OVER_TLS = env.bool("SERVED_OVER_TLS", False)
    BEHIND_PROXY = env.bool("BEHIND_PROXY", False)
    SHOP_NAME = env.str("SHOP_NAME", "Harness shop")
    SHOP_ADDRESS = env.str("SHOP_ADDRESS", "")
    PUBLIC_URL = env.str("PUBLIC_URL", "http://127.0.0.1:8000").rstrip("/")
    TIME_ZONE = env.str("TIME_ZONE", "UTC")
    LANGUAGE_CODE = env.str("LANGUAGE_CODE", "en")
    SHOP_KEY_DIR = Path(env.str("SHOP_KEY_DIR", str(DATA_DIR / "keys")))
    MEDIA_ROOT = Path(env.str("MEDIA_ROOT", str(DATA_DIR / "media")))
    STATIC_ROOT = Path(env.str("STATIC_ROOT", str(DATA_DIR / "static")))
    DECISION_RULE = env.str(
        "DECISION_RULE",
        "simple",
        validate=environs.validate.OneOf(["simple", "expanded", "conformance-95", "four-to-one", "false-accept-2"]),
    )
    SEAL_LEVEL = env.str("SEAL_LEVEL", "B-B", validate=environs.validate.OneOf(["B-B", "B-T", "B-LT"]))
    TIMESTAMP_URL = env.str("TIMESTAMP_URL", "")
    TIMESTAMP_CERTIFICATES = env.str("TIMESTAMP_CERTIFICATES", "")
    UPLOAD_LIMIT_MB = env.int("UPLOAD_LIMIT_MB", 10, validate=environs.validate.Range(min=1, max=100))
    FILE_STORAGE = env.str("FILE_STORAGE", "disk", validate=environs.validate.OneOf(["disk", "s3"]))
    S3_ENDPOINT = env.str("S3_ENDPOINT", "")
    S3_REGION = env.str("S3_REGION", "us-east-1")
    S3_BUCKET = env.str("S3_BUCKET", "")
    S3_ACCESS_KEY = env.str("S3_ACCESS_KEY", "")
    SIMULATED_GAUGE = env.bool("SIMULATED_GAUGE", False)
    PAPER = env.str("PAPER", "A4", validate=environs.validate.OneOf(["A4", "Letter"]))
    # Minutes without a touch after which a signed-in person has to sign in again (NIST SP 800-63B rev. 3, 4.2.3: 30 minutes idle).
    # Where checkpoints of the ledger are handed to; a folder that is not there would be noticed when it is needed.
    CHECKPOINT_DIR = env.path("CHECKPOINT_DIR", None)
    CHECKPOINT_MAIL: list[str] = env.list("CHECKPOINT_MAIL", [])
    CHECKPOINT_URL = env.str("CHECKPOINT_URL", "")
    RECURRING_FINDINGS = env.int("RECURRING_FINDINGS", 3, validate=environs.validate.Range(min=2))
    RECURRING_DAYS = env.int("RECURRING_DAYS", 90, validate=environs.validate.Range(min=1, max=3650))
    CHECKPOINT_ENTRIES = env.int("CHECKPOINT_ENTRIES", 1000, validate=environs.validate.Range(min=1))
    EMAIL = env.dj_email_url("EMAIL_URL", "smtp://localhost:25")
    DEFAULT_FROM_EMAIL = env.str("MAIL_FROM", "records@localhost")
    IDLE_MINUTES = env.int("IDLE_MINUTES", 30, validate=environs.validate.Range(min=1))
    # At a shared tablet: minutes without a touch until it locks, unless its station says otherwise.
    FLOOR_LOCK_MINUTES = env.int("FLOOR_LOCK_MINUTES", 5, validate=environs.validate.Range(min=1, max=480))
    # What an operator does on a signal of a chart, in the shop's own words; one line each. Empty: the usual steps.
    REACTION_PLAN: list[str] = env.list("REACTION_PLAN", [], delimiter="|")
    REQUIRE_ENROLLED_TABLETS = env.bool("REQUIRE_ENROLLED_TABLETS", False)
    ENROLMENT_MINUTES = env.int("ENROLMENT_MINUTES", 15, validate=environs.validate.Range(min=1, max=1440))
    LOG_LEVEL = env.str("LOG_LEVEL", "INFO", validate=environs.validate.OneOf(["DEBUG", "INFO", "WARNING", "ERROR"]))
    DATABASES = {"default": env.dj_db_url("DATABASE_URL", f"sqlite:///{DATA_DIR / 'shop.sqlite3'}", conn_max_age=600)}
except environs.EnvError as error:
    stop(str(error).replace("\n", " "))
    raise
except (ValueError, KeyError) as error:
    stop(f"DATABASE_URL is not understood: {error}")
    raise

SECRET_KEY = secret("SECRET_KEY") or generated_secret(DATA_DIR / "secret_key")
SHOP_KEY_PASSPHRASE = secret("SHOP_KEY_PASSPHRASE")
S3_SECRET_KEY = secret("S3_SECRET_KEY")

if SEAL_LEVEL != "B-B" and not (TIMESTAMP_URL and TIMESTAMP_CERTIFICATES):
    stop(f"SEAL_LEVEL {SEAL_LEVEL} needs TIMESTAMP_URL and TIMESTAMP_CERTIFICATES")

if FILE_STORAGE == "s3" and not (S3_BUCKET and S3_ACCESS_KEY and S3_SECRET_KEY):
    stop("FILE_STORAGE s3 needs S3_BUCKET, S3_ACCESS_KEY and S3_SECRET_KEY")
if S3_ENDPOINT and not S3_ENDPOINT.startswith(("https://", "http://")):
    stop(f"S3_ENDPOINT must begin with https:// or http://: {S3_ENDPOINT}")
if CHECKPOINT_DIR is not None and not (CHECKPOINT_DIR.is_dir() and os.access(CHECKPOINT_DIR, os.W_OK)):
    stop(f"CHECKPOINT_DIR is no folder that can be written to: {CHECKPOINT_DIR}")
if CHECKPOINT_URL and not CHECKPOINT_URL.startswith(("https://", "http://")):
    stop(f"CHECKPOINT_URL must begin with https:// or http://: {CHECKPOINT_URL}")
EMAIL_HOST, EMAIL_PORT, EMAIL_BACKEND = EMAIL["EMAIL_HOST"], EMAIL["EMAIL_PORT"], EMAIL["EMAIL_BACKEND"]
EMAIL_HOST_USER, EMAIL_HOST_PASSWORD = EMAIL["EMAIL_HOST_USER"], EMAIL["EMAIL_HOST_PASSWORD"]
EMAIL_USE_TLS, EMAIL_USE_SSL, EMAIL_TIMEOUT = EMAIL["EMAIL_USE_TLS"], EMAIL["EMAIL_USE_SSL"], 10

ENGINE = DATABASES["default"]["ENGINE"].rsplit(".", 1)[-1]
if ENGINE == "sqlite3":
    # One writer at a time, taken at BEGIN: two acts never deadlock half-way. Recursive triggers keep INSERT OR REPLACE from
    # slipping past the append-only guards.
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": ("PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON; PRAGMA recursive_triggers=ON;"),
    }
elif ENGINE == "postgresql":
    DATABASES["default"]["ENGINE"] = "shop.postgresql"
else:
    stop("DATABASE_URL must name a sqlite or a postgresql database")
# A person's act is the transaction, not the request (house style 9).
DATABASES["default"]["ATOMIC_REQUESTS"] = False

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",  # form widgets are drawn from our own templates (FORM_RENDERER)
    "django_htmx",
    "csp",
    "rest_framework",
    "rest_framework.authtoken",
    "drf_spectacular",
    "django_tasks",
    "django_tasks_db",
    "shop",
    "inspection",
    "records",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "shop.device_policy.DevicePolicy",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "shop.touches.TouchSession",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "shop.language.OwnLanguage",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "shop.tablets.AtTablet",
    "shop.looks.NoteLooks",
]

ROOT_URLCONF = "shop.urls"
WSGI_APPLICATION = "shop.wsgi.application"

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
                "shop.context.shop",
            ],
            "builtins": ["shop.templatetags.shop"],
        },
    }
]
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

AUTH_USER_MODEL = "shop.Person"
AUTHENTICATION_BACKENDS = ["shop.sign_on.PasswordBackend"]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign-in"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]

SESSION_COOKIE_AGE = IDLE_MINUTES * 60  # from the last touch: shop.touches
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SERVED_OVER_TLS
SECURE_SSL_REDIRECT = SERVED_OVER_TLS and not BEHIND_PROXY
SECURE_HSTS_SECONDS = 31536000 if SERVED_OVER_TLS else 0
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
if BEHIND_PROXY:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [csp.constants.NONE],
        "script-src": [csp.constants.SELF],
        "style-src": [csp.constants.SELF],
        "img-src": [csp.constants.SELF, "data:"],
        "font-src": [csp.constants.SELF],
        "connect-src": [csp.constants.SELF],
        "manifest-src": [csp.constants.SELF],
        "worker-src": [csp.constants.SELF],
        "form-action": [csp.constants.SELF],
        "base-uri": [csp.constants.NONE],
        "frame-ancestors": [csp.constants.NONE],
    }
}

USE_I18N = True
USE_TZ = True
LANGUAGES = [("en", "English"), ("de", "Deutsch")]
LOCALE_PATHS = [BASE_DIR / "shop" / "locale"]

STATIC_URL = "/static/"
STATICFILES_FINDERS = ["shop.static_files.OwnAppsFinder"]
MEDIA_URL = "/media/"  # never served as such: documents are handed out by a view that checks who asks
ON_DISK = {"BACKEND": "shop.stored_files.HashedFiles"}
IN_S3 = {
    "BACKEND": "storages.backends.s3.S3Storage",
    "OPTIONS": {
        "bucket_name": S3_BUCKET,
        "endpoint_url": S3_ENDPOINT or None,
        "region_name": S3_REGION,
        "access_key": S3_ACCESS_KEY,
        "secret_key": S3_SECRET_KEY,
        "signature_version": "s3v4",
        "file_overwrite": True,  # a name stands for its bytes: writing it again changes nothing
        "addressing_style": "path" if S3_ENDPOINT else "auto",
    },
}
STORAGES = {
    "default": IN_S3 if FILE_STORAGE == "s3" else ON_DISK,
    "staticfiles": {"BACKEND": "shop.static_files.HashedStaticFiles"},
}
FILE_UPLOAD_PERMISSIONS = 0o640
UPLOAD_LIMIT_BYTES = UPLOAD_LIMIT_MB * 1024 * 1024
DATA_UPLOAD_MAX_MEMORY_SIZE = UPLOAD_LIMIT_BYTES + 2 * 1024 * 1024  # the other fields of a form

# Background work waits in the shop's own database; `manage.py db_worker` does it.
TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend", "QUEUES": ["default"]}}

DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "rest_framework.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_PAGINATION_CLASS": "rest_framework.pagination.LimitOffsetPagination",
    "PAGE_SIZE": 50,
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "shop.api.problems.problem_response",
    "COERCE_DECIMAL_TO_STRING": True,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Harness quality record",
    "DESCRIPTION": "Plan, make and prove crimped terminations. The same acts as the pages, the same refusals as problem details.",
    "VERSION": "1.0.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": LOG_LEVEL},
    "loggers": {
        # WeasyPrint and fontTools tell every subset step.
        "fontTools": {"level": "ERROR"},
        "weasyprint": {"level": "ERROR"},
        "pyhanko": {"level": "WARNING"},
        "pikepdf": {"level": "WARNING"},
    },
}
