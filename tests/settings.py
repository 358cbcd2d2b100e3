"""The product's settings, with the test run's own folder and no mail, queue or cache outside it."""

import atexit
import os
import shutil
import tempfile

_folder = tempfile.mkdtemp(prefix="runnel-tests-")
atexit.register(shutil.rmtree, _folder, ignore_errors=True)
os.environ.setdefault("RUNNEL_DATA_DIR", _folder)

from service.settings import *  # noqa: E402, F403

CELERY_BROKER_URL = "memory://"
CELERY_BROKER_TRANSPORT_OPTIONS: dict[str, object] = {}
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
# The second one reads the demonstration's signing PINs.
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.MD5PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
STATIC_ROOT.mkdir(exist_ok=True)  # noqa: F405
LOGGING["root"]["level"] = "ERROR"  # type: ignore[index, name-defined]  # noqa: F405
