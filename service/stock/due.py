"""What is past its date: batches, checks of instruments, reagents."""

from dataclasses import dataclass
from datetime import date, timedelta

from service.stock.models import Batch, Instrument

SOON = timedelta(days=30)


@dataclass(frozen=True)
class Due:
    """A date in words. late: it has passed. soon: it comes within 30 days."""

    words: str
    late: bool = False
    soon: bool = False


def use_by(batch: Batch, today: date) -> Due:
    """What a batch's use-by date says today."""
    if batch.expires_on is None:
        return Due("No use-by date")
    if batch.is_expired(today):
        return Due(f"Expired on {_day(batch.expires_on)}: do not use it", late=True)
    return Due(f"Use by {_day(batch.expires_on)}", soon=batch.expires_on - today <= SOON)


def check_due(instrument: Instrument, today: date) -> Due:
    """When the instrument must next be checked against a standard."""
    due = instrument.check_due_on
    if due is None:
        return Due("No check planned")
    if due < today:
        return Due(f"Check overdue since {_day(due)}: every reading says so", late=True)
    return Due(f"Check due on {_day(due)}", soon=due - today <= SOON)


def reagent_due(instrument: Instrument, today: date) -> Due:
    """Until when its reagents or strips serve."""
    end = instrument.reagent_expires_on
    if end is None:
        return Due("")
    if end < today:
        return Due(f"Expired on {_day(end)}: do not use it", late=True)
    return Due(f"Use by {_day(end)}", soon=end - today <= SOON)


def _day(day: date) -> str:
    return f"{day.day} {day:%B %Y}"
