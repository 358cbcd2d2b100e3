"""Days as a plan says them."""

from collections.abc import Sequence
from datetime import date

from service.rounds.models.agreements import WEEKDAYS


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


def say_weekdays(days: Sequence[int]) -> str:
    """Days of the week that are allowed, Monday 0.

    >>> say_weekdays([0, 1, 2, 3, 4]), say_weekdays([0, 4]), say_weekdays(range(7))
    ('Monday to Friday', 'Monday and Friday', 'any day')
    """
    if len(days) == len(WEEKDAYS):
        return "any day"
    if list(days) == [0, 1, 2, 3, 4]:
        return "Monday to Friday"
    return say_list([WEEKDAYS[day] for day in days])
