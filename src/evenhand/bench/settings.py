"""Settings of Django for the bench: those of the records, and what pages need besides.

`evenhand serve` sets EVENHAND_SECRET_KEY, EVENHAND_HOSTS and EVENHAND_TLS before these are read.
"""

import os
import secrets
from pathlib import Path

from evenhand.bench.languages import find_languages
from evenhand.records import settings as _records

DATA = _records.DATA
DATABASES = _records.DATABASES
DEFAULT_AUTO_FIELD = _records.DEFAULT_AUTO_FIELD
EVENHAND_KEY_FILE = _records.EVENHAND_KEY_FILE

DEBUG = False
# Without the server's own key, sessions end with the process: right for a test, a nuisance in a shop.
SECRET_KEY = os.environ.get("EVENHAND_SECRET_KEY") or secrets.token_urlsafe(48)
ALLOWED_HOSTS = [name for name in os.environ.get("EVENHAND_HOSTS", "").split(",") if name] or [
    "127.0.0.1",
    "localhost",
    "[::1]",
]
IS_TLS = os.environ.get("EVENHAND_TLS") == "1"

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.forms",
    "django_htmx",
    "evenhand.records",
    "evenhand.bench",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "evenhand.bench.security.StrictPages",
    "evenhand.bench.security.Patience",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "evenhand.bench.people.sessions.PatientSessions",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "evenhand.bench.people.sessions.StayAwake",
    "evenhand.bench.security.FirstRun",
    "evenhand.bench.security.LogInFirst",
    "evenhand.bench.security.KnownNumbers",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
]
ROOT_URLCONF = "evenhand.bench.urls"
ASGI_APPLICATION = "evenhand.bench.asgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.template.context_processors.i18n",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "evenhand.bench.context.describe_bench",
            ],
            "builtins": [
                "evenhand.bench.templatetags.bench",
                "evenhand.bench.templatetags.bench_quantities",
                "django.templatetags.i18n",
                "django.templatetags.static",
            ],
        },
    }
]

# Forms are shown by the same templates, with the same filters, as pages are.
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

# People.
AUTH_USER_MODEL = "bench.Account"
AUTHENTICATION_BACKENDS = ["evenhand.bench.people.accounts.ByName"]
PASSWORD_HASHERS = ["evenhand.bench.people.hashing.BoundedArgon2"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "people:sign-in"
LOGIN_REDIRECT_URL = "today:today"
LOGOUT_REDIRECT_URL = "people:sign-in"
SESSION_COOKIE_AGE = 12 * 3600  # a working day
SESSION_COOKIE_NAME = "evenhand_session"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
# Secure cookies would not come back over plain http, and nobody in the room could log in.
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = IS_TLS
CSRF_COOKIE_NAME = "evenhand_csrf"
CSRF_FAILURE_VIEW = "evenhand.bench.security.refuse_forgery"
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"

# What a page may load and do: see evenhand.bench.security.
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin" if IS_TLS else None
X_FRAME_OPTIONS = "DENY"

STATIC_URL = "/static/"
STATIC_ROOT = None
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False
WHITENOISE_MAX_AGE = 0  # asked for again each time, answered with "unchanged": an update reaches every phone at once

# Words, dates and numbers.
USE_I18N = True
USE_TZ = True
LANGUAGE_CODE = "en"
# A catalogue in one of these is a language more: ours, and what a shop puts beside its records.
LOCALE_PATHS = [Path(__file__).parent / "locale", DATA / "locale"]
LANGUAGES = find_languages(LOCALE_PATHS)
FORMAT_MODULE_PATH = "evenhand.bench.formats"


def _time_zone() -> str:
    """Return the name of this machine's time zone, UTC if it does not say."""
    for found in (os.environ.get("EVENHAND_TIME_ZONE"), os.environ.get("TZ")):
        if found and (Path("/usr/share/zoneinfo") / found).is_file():
            return found
    place = os.path.realpath("/etc/localtime")
    _, marker, name = place.partition("/zoneinfo/")
    return name if marker and name else "UTC"


TIME_ZONE = _time_zone()
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 2**20
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "loggers": {"django": {"handlers": ["console"], "level": "ERROR"}},
}
