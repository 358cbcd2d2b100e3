"""Text that a person must give."""

from django.core.exceptions import ValidationError


def needed(text: str, field: str, ask: str, *, longest: int = 400) -> str:
    """The text without outer blanks. Raises ValidationError for ``field`` when empty or too long."""
    return optional(text, field, longest=longest) or _missing(field, ask)


def optional(text: str, field: str, *, longest: int = 400) -> str:
    """The text without outer blanks, perhaps empty. Raises ValidationError for ``field`` when too long."""
    text = text.strip()
    if len(text) > longest:
        raise ValidationError({field: f"At most {longest} characters; this has {len(text)}."})
    return text


def _missing(field: str, ask: str) -> str:
    raise ValidationError({field: ask})
