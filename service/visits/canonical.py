"""The form of a record that is hashed: the same content gives the same bytes, everywhere.

It is the JSON Canonicalization Scheme of RFC 8785 for content without fractions: numbers are written
as the text that was typed, so that no reader's arithmetic can change them. Personal data stand in it
only as commitments, so that a person can be erased while the digest still verifies.
"""

import hashlib
import json
import secrets
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

SALT_BYTES = 32


def canonical(content: Any) -> str:
    """Content as text: keys sorted, no spaces, UTF-8 as it is, numbers as strings.

    Raises TypeError for a floating-point number or anything else whose text is not certain.

    >>> canonical({"b": [True, None], "a": "pH 7.4 ± 0.1"})
    '{"a":"pH 7.4 ± 0.1","b":[true,null]}'
    >>> canonical({"ph": 7.4})
    Traceback (most recent call last):
    ...
    TypeError: float at $.ph: a record holds text, whole numbers, true, false and null only
    """
    _check(content, "$")
    return json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def digest(text: str) -> str:
    """SHA-256 of the canonical text in UTF-8, in hex."""
    return hashlib.sha256(text.encode()).hexdigest()


def commit(salt: str, value: str) -> str:
    """What stands in a record for a personal datum: SHA-256 of salt and value, in hex.

    Without the salt, which is erased with the value, nobody can try names against it.

    >>> commit("00", "Robin") == digest("00Robin")
    True
    """
    return digest(salt + value)


def new_salt() -> str:
    """A fresh random salt, 64 hex digits: as long as the digest, so that it hides any value."""
    return secrets.token_hex(SALT_BYTES)


def plain(value: Any) -> Any:
    """A value as a record holds it: numbers and times as text, nested values alike.

    >>> plain({"dose_g": Decimal("12.50"), "order": 1, "share": 0.25})
    {'dose_g': '12.50', 'order': 1, 'share': '0.25'}
    """
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, float):
        return format(Decimal(repr(value)), "f")
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="milliseconds")
    if isinstance(value, date):
        return value.isoformat()
    return value


def _check(value: Any, path: str) -> None:
    if isinstance(value, dict):
        for key, item in value.items():
            # Among plain ASCII keys every way of sorting is the same.
            if not (isinstance(key, str) and key.isascii()):
                raise TypeError(f"key {key!r} at {path}: a record's keys are plain text")
            _check(item, f"{path}.{key}")
    elif isinstance(value, list):
        for place, item in enumerate(value):
            _check(item, f"{path}[{place}]")
    elif not (value is None or isinstance(value, str | bool | int)):
        kind = type(value).__name__
        raise TypeError(f"{kind} at {path}: a record holds text, whole numbers, true, false and null only")
