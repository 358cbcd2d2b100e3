"""All settings. The only module that reads the environment.

Without any variable Runnel runs on one machine from one folder (`.data/`):
SQLite, a queue in files, keys made on first start. Every part that grows past
one machine is named by a variable; `RUNNEL_PRODUCTION=1` refuses to start
without the secrets and turns on what HTTPS allows.
"""

import secrets
from pathlib import Path

import environ
from csp.constants import NONCE, NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from accounts.limits import PASSKEY_RATES, rates

env = environ.Env()
BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = Path(env.str("RUNNEL_DATA_DIR", default=str(BASE_DIR / ".data")))
PRODUCTION = env.bool("RUNNEL_PRODUCTION", default=False)


def _kept_secret(variable: str, file_name: str, make: str) -> str:
    """The secret named by the environment; outside production one made once and kept in DATA_DIR."""
    given = env.str(variable, default="")
    if given:
        return str(given)
    if PRODUCTION:
        raise ImproperlyConfigured(f"{variable} must be set when RUNNEL_PRODUCTION=1.")
    file = DATA_DIR / file_name
    if not file.exists():
        file.parent.mkdir(parents=True, exist_ok=True)
        file.touch(mode=0o600)
        file.write_text(make)
    return file.read_text().strip()


DEBUG = False
SECRET_KEY = _kept_secret("SECRET_KEY", "secret_key", secrets.token_urlsafe(64))
# Seals access codes and other notes at rest; several keys, newest first, separated by commas.
SEALING_KEYS = _kept_secret("SEALING_KEYS", "sealing_keys", secrets.token_urlsafe(48)).split(",")
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=[] if PRODUCTION else ["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.humanize",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "csp",
    "django_htmx",
    "rest_framework",
    "drf_spectacular",
    "accounts",
    "service.runs",
    "service.shell",
    "service.sites",
    "service.stock",
    "service.visits",
    "service.rounds",
    "service.importing",
    "service.office",
    "service.api",
    "service.demo",
    "reports",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "service.shell.compress.CompressTextMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "accounts.middleware.SessionAgeMiddleware",
    "accounts.middleware.SignedInMiddleware",
    "accounts.middleware.SecondFactorMiddleware",
    "accounts.middleware.OrganisationScopeMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
]

ROOT_URLCONF = "service.urls"
WSGI_APPLICATION = "service.wsgi.application"
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "service" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "service.shell.context.shell",
            ],
        },
    },
]

# --- data -----------------------------------------------------------------------------------
DATABASES = {"default": env.db_url("DATABASE_URL", default=f"sqlite:///{DATA_DIR / 'runnel.sqlite3'}")}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;",
    }
else:
    DATABASES["default"]["CONN_MAX_AGE"] = 60
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
REDIS_URL = env.str("REDIS_URL", default="")
CACHES = {
    "default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": REDIS_URL}
    if REDIS_URL
    else {
        "BACKEND": "django.core.cache.backends.filebased.FileBasedCache",
        "LOCATION": str(DATA_DIR / "cache"),
    }
}
MEDIA_ROOT = DATA_DIR / "files"
STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "service" / "static"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
WHITENOISE_USE_FINDERS = not PRODUCTION
# A photograph from a phone is 3 to 12 MB; a larger body is refused before it is read.
PHOTO_MAX_BYTES = 20 * 1024 * 1024
DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 1024 * 1024

# --- people ---------------------------------------------------------------------------------
AUTH_USER_MODEL = "accounts.Person"
AUTHENTICATION_BACKENDS = ["accounts.sign_in_backend.SignInBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "home"
ACCOUNT_ADAPTER = "accounts.adapter.InvitedOnly"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_LOGOUT_ON_PASSWORD_CHANGE = True
ACCOUNT_REAUTHENTICATION_REQUIRED = True
ACCOUNT_REAUTHENTICATION_TIMEOUT = 30 * 60
ACCOUNT_SESSION_REMEMBER = False
ACCOUNT_EMAIL_NOTIFICATIONS = True
# A forgotten password for an unknown address sends nothing: strangers are not written to.
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
ACCOUNT_FORMS = {
    "login": "accounts.sign_in_forms.SignInForm",
    "reset_password": "accounts.sign_in_forms.ForgottenForm",
    "reset_password_from_key": "accounts.sign_in_forms.NewPasswordForm",
    "change_password": "accounts.sign_in_forms.ChangePasswordForm",
    "reauthenticate": "accounts.sign_in_forms.ConfirmForm",
}
MFA_FORMS = {
    "authenticate": "accounts.sign_in_forms.CodeForm",
    "reauthenticate": "accounts.sign_in_forms.ConfirmCodeForm",
    "activate_totp": "accounts.sign_in_forms.AddAppForm",
    "add_webauthn": "accounts.sign_in_forms.AddKeyForm",
}
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
# Numbers in words: accounts/limits.py.
ACCOUNT_RATE_LIMITS = rates()
MFA_RATE_LIMITS = PASSKEY_RATES
MFA_ADAPTER = "accounts.adapter.SealedFactors"
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes", "webauthn"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_TOTP_ISSUER = "Runnel"
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = not PRODUCTION
# accounts/sessions.py ends a session by idle and by absolute age; the cookie lives as long as the longest.
SESSION_COOKIE_AGE = 12 * 60 * 60
SESSION_SAVE_EVERY_REQUEST = False
EMAIL_BACKEND = env.str("EMAIL_BACKEND", default="django.core.mail.backends.console.EmailBackend")
DEFAULT_FROM_EMAIL = env.str("DEFAULT_FROM_EMAIL", default="Runnel <no-reply@localhost>")
if PRODUCTION:
    EMAIL_CONFIG = env.email_url("EMAIL_URL", default="consolemail://")
    vars().update(EMAIL_CONFIG)

# --- browser --------------------------------------------------------------------------------
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF, NONCE],
        "style-src": [SELF],
        "img-src": [SELF, "blob:", "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
        "object-src": [NONE],
    }
}
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CONTENT_TYPE_NOSNIFF = True
X_FRAME_OPTIONS = "DENY"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "service.shell.errors.csrf_failure"
if PRODUCTION:
    SESSION_COOKIE_NAME = "__Host-session"
    CSRF_COOKIE_NAME = "__Host-csrf"
    SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = True
    SECURE_SSL_REDIRECT = True
    # The API refuses a token sent in clear, instead of leading it on as if nothing had happened.
    SECURE_REDIRECT_EXEMPT = [r"^healthz$", r"^api/"]
    SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60
    SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = True
    if env.bool("BEHIND_TLS_PROXY", default=False):
        SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
        # Limits count the address that the proxy saw, never one that the visitor wrote.
        ALLAUTH_TRUSTED_PROXY_COUNT = 1

# --- other programs -------------------------------------------------------------------------
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["service.api.authentication.BearerToken"],
    "DEFAULT_PERMISSION_CLASSES": ["service.api.permissions.IsSomebody"],
    "DEFAULT_THROTTLE_CLASSES": ["service.api.throttling.PerToken"],
    "DEFAULT_PARSER_CLASSES": ["service.api.parsing.StrictJSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_SCHEMA_CLASS": "service.api.schema.Described",
    "EXCEPTION_HANDLER": "service.api.problems.answer_with_problem",
    "UNAUTHENTICATED_USER": None,
    "URL_FORMAT_OVERRIDE": None,
    # Refusals count the address that the proxy saw, never one that the visitor wrote.
    "NUM_PROXIES": 1 if PRODUCTION and env.bool("BEHIND_TLS_PROXY", default=False) else 0,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Runnel",
    "DESCRIPTION": "Clients, sites, spas, visits, readings, decisions and records, for other programs.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "service.api.schema.with_problems",
    ],
    "ENUM_NAME_OVERRIDES": {
        "ClientKind": "service.sites.models.ClientKind",
        "VisitKind": "service.visits.models.VisitKind",
        "VisitState": "service.visits.models.VisitState",
        "Verdict": "service.visits.models.Verdict",
        "Method": "service.stock.models.Method",
        "Moment": "service.visits.models.Moment",
        "ProductForm": "service.stock.models.Form",
        "FitnessState": ["fit", "fit_from", "closed", "retest", "not_tested"],
        "PdfState": ["ready", "being_made"],
    },
}

# --- background work ------------------------------------------------------------------------
QUEUE_DIR = DATA_DIR / "queue"
CELERY_BROKER_URL = env.str("CELERY_BROKER_URL", default="filesystem://localhost//")
if CELERY_BROKER_URL.startswith("filesystem://"):
    for _folder in ("messages", "control"):
        (QUEUE_DIR / _folder).mkdir(parents=True, exist_ok=True)
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "data_folder_in": str(QUEUE_DIR / "messages"),
        "data_folder_out": str(QUEUE_DIR / "messages"),
        "control_folder": str(QUEUE_DIR / "control"),
    }
CELERY_TASK_DEFAULT_QUEUE = "default"
CELERY_TASK_ROUTES = {"reports.*": {"queue": "reports"}, "rounds.build_week": {"queue": "weeks"}}
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_TIME_LIMIT = 15 * 60
CELERY_TASK_SOFT_TIME_LIMIT = 14 * 60
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BEAT_SCHEDULE = {
    "queue again what a crash left behind": {"task": "service.runs.sweep", "schedule": 60.0},
    "fetch the calendars of bookings": {"task": "rounds.fetch_all_calendars", "schedule": 3600.0},
    # Each firm's own Friday noon is found out by the task; a tick too many asks for nothing.
    "plan next weeks": {"task": "rounds.plan_next_weeks", "schedule": 15 * 60.0},
    "forget lists that nobody came back to": {"task": "importing.drop_stale", "schedule": 3600.0},
    "forget answers kept for a day": {"task": "service.api.sweep", "schedule": 3600.0},
}
# A run that has sat this long without being picked up, or whose worker went silent, is queued again.
RUN_STALE_SECONDS = env.int("RUN_STALE_SECONDS", default=60)

# --- words, time, logs ----------------------------------------------------------------------
LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_TZ = True
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name} {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": env.str("LOG_LEVEL", default="INFO")},
}
