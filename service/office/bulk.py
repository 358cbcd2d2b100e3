"""Changing many rows at once: looked at first, then done in one transaction, each by its use case."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from service.office.bulk_changes import CHANGES, MAY_CHANGE
from service.office.change import Change
from service.visits.editing import Refused

MOST_ROWS = 500


@dataclass(frozen=True)
class Outcome:
    """What a change does to the rows chosen.

    changed  How many rows go from which words: [("Holiday let", 3), …].
    same     How many stand so already.
    skipped  Row and reason.
    """

    to: str
    changed: list[tuple[str, int]]
    same: int
    skipped: list[tuple[Any, str]]

    @property
    def count(self) -> int:
        return sum(number for _, number in self.changed)


def the_change(kind: str, key: str) -> Change | None:
    return next((change for change in CHANGES[kind] if change.key == key), None)


@transaction.atomic
def look(*, kind: str, change: Change, rows: Sequence[Any], value: Any, by: Person) -> Outcome:
    """What ``change_rows`` would do now. Does it, and takes it all back. Raises NotAllowed."""
    outcome = _change(kind, change, rows, value, by)
    transaction.set_rollback(True)
    return outcome


@transaction.atomic
def change_rows(*, kind: str, change: Change, rows: Sequence[Any], value: Any, by: Person) -> Outcome:
    """Change every row that can be; each is on the trail by itself, and one entry tells of them all.

    At most MOST_ROWS rows. Raises NotAllowed.
    """
    outcome = _change(kind, change, rows, value, by)
    if outcome.count:
        detail = {"what": f"{kind}: {change.label}", "rows": outcome.count, "skipped": len(outcome.skipped)}
        record_event(action="firm.rows_changed", subject=by.organisation, by=by, detail=detail)
    return outcome


def _change(kind: str, change: Change, rows: Sequence[Any], value: Any, by: Person) -> Outcome:
    require(by, MAY_CHANGE[kind])
    if len(rows) > MOST_ROWS:
        raise ValueError(f"at most {MOST_ROWS} rows at once")
    to, changed, skipped, same = change.said(value), Counter[str](), [], 0
    for row in rows:
        was = change.now(row)
        if was == to:
            same += 1
        elif reason := _why_not(change, row, value, by):
            skipped.append((row, reason))
        else:
            changed[was] += 1
    return Outcome(to, changed.most_common(), same, skipped)


def _why_not(change: Change, row: Any, value: Any, by: Person) -> str:
    """Do it to one row; why it cannot be done, or ""."""
    try:
        with transaction.atomic():
            change.act(row, value, by)
    except ValidationError as error:
        return " ".join(error.messages)
    except Refused as refused:
        return str(refused)
    return ""
