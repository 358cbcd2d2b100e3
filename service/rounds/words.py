"""Days as a plan says them."""

from collections.abc import Sequence
from datetime import date


def say_day(day: date) -> str:
    """A day of the week that is planned.

    >>> say_day(date(2027, 6, 12))
    'Saturday 12 June'
    """
    return f"{day:%A} {day.day} {day:%B}"


def say_list(words: Sequence[str]) -> str:
    """Words joined as a sentence joins them.

    >>> say_list(["Monday", "Tuesday", "Friday"])
    'Monday, Tuesday and Friday'
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
