"""Text that is sealed (encrypted) in the database: gate codes, key-safe codes and the like."""

import base64
import hashlib
from typing import Any

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from django.conf import settings
from django.db import models


def _sealer() -> MultiFernet:
    """The newest key seals; every listed key opens. A key is any long text, hashed to 32 bytes."""
    digests = (hashlib.sha256(key.encode()).digest() for key in settings.SEALING_KEYS)
    return MultiFernet([Fernet(base64.urlsafe_b64encode(digest)) for digest in digests])


def seal(text: str) -> str:
    return _sealer().encrypt(text.encode()).decode()


def unseal(sealed: str) -> str:
    """The text again; "(cannot be opened)" when its key is gone, so that a page still shows."""
    try:
        return _sealer().decrypt(sealed.encode()).decode()
    except InvalidToken:
        return "(cannot be opened: its key is missing)"


class SealedTextField(models.TextField):  # type: ignore[type-arg]
    """A text column that only ever holds sealed text. Empty stays empty."""

    def get_prep_value(self, value: Any) -> Any:
        return seal(str(value)) if value else ""

    def from_db_value(self, value: str | None, *_: Any) -> str:
        return unseal(value) if value else ""
