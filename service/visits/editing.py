"""The one way to write on a visit: allowed, not signed, in the right state, and not changed meanwhile.

Every use case of this room that writes calls ``edit`` first and ``note`` last, inside its own
transaction. ``edit`` locks the visit's row, so that two people are served one after the other, and
raises the revision, so that the second is told of the first.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from accounts.access import NotAllowed, require
from accounts.audit import ROWS_AT_ONCE, record_event, record_events
from accounts.models import AuditEvent, Person
from accounts.roles import Action
from service.visits.models import Visit, VisitState

ON_SITE = (VisitState.ON_SITE,)

# What each entry of the audit trail is called when somebody is told of it.
_CHANGED_WORDS = {
    "visit.planned": "planned the visit",
    "visit.plan_changed": "changed the plan",
    "visit.cancelled": "cancelled the visit",
    "visit.started": "started the visit",
    "visit.ended": "ended the visit without signing",
    "visit.handed_over": "handed the visit to somebody else",
    "visit.inspected": "changed the inspection",
    "visit.readings_recorded": "changed the readings",
    "visit.reading_withdrawn": "withdrew a reading",
    "visit.governing_chosen": "chose which reading governs",
    "visit.decided": "asked for a decision",
    "visit.step_done": "recorded a step as done",
    "visit.step_skipped": "skipped a step",
    "visit.own_dose_added": "recorded a dose of their own",
    "visit.task_changed": "changed a task",
    "visit.photo_added": "added a photo",
    "visit.photo_removed": "removed a photo",
    "visit.signed": "signed the visit",
}


class Refused(Exception):  # noqa: N818
    """It cannot be done now. ``str()`` is a sentence for the person, with what to do instead."""


class AlreadySigned(Refused):
    """The visit is signed: nothing on it changes any more."""

    def __init__(self) -> None:
        super().__init__("This visit is signed and cannot be changed. Add an amendment to correct it.")


@dataclass(frozen=True)
class Change:
    """One thing that somebody did to a visit. what: "changed the readings"."""

    at: datetime
    by: str
    what: str


class Changed(Exception):  # noqa: N818
    """Somebody changed the visit since the page was opened. Nothing was saved.

    revision   The visit's revision now: what to send along when saving again.
    changes    What was done since, newest first.
    """

    def __init__(self, revision: int, changes: tuple[Change, ...]) -> None:
        done = "; ".join(f"{change.by} {change.what}" for change in changes)
        super().__init__(f"This visit was changed meanwhile: {done or 'by somebody else'}.")
        self.revision = revision
        self.changes = changes


def edit(
    visit: Visit,
    *,
    by: Person,
    expected_revision: int | None = None,
    action: Action = Action.CARRY_OUT_VISITS,
    states: Collection[str] = ON_SITE,
) -> Visit:
    """The visit's row as it stands now, locked until the transaction ends, its revision one higher.

    The row comes with spa, site, client and organisation. The object passed in is left as it was.

    expected_revision  The revision that the person saw; None when it does not matter.

    Raises NotAllowed, AlreadySigned, Changed or Refused (wrong state), in this order.
    """
    allow(visit, by=by, action=action)
    row = _locked().get(pk=visit.pk)
    _refuse_stale(row, expected_revision, states)
    row.revision += 1
    row.save(update_fields=["revision"])
    return row


def edit_many(
    visits: Sequence[Visit], *, by: Person, action: Action, states: Collection[str]
) -> dict[UUID, Visit]:
    """The same for many visits, each as its object was read; the caller saves ``revision`` with the rest.

    Rows are locked in the order of their keys, so that two who edit the same ones wait, not fail.
    """
    for visit in visits:
        allow(visit, by=by, action=action)
    seen = {visit.pk: visit.revision for visit in visits}
    keys = sorted(seen)
    rows: dict[UUID, Visit] = {}
    for at in range(0, len(keys), ROWS_AT_ONCE):
        some = _locked().filter(pk__in=keys[at : at + ROWS_AT_ONCE]).order_by("pk")
        rows |= {row.pk: row for row in some}
    for row in rows.values():
        _refuse_stale(row, seen[row.pk], states)
        row.revision += 1
    return rows


def _locked() -> QuerySet[Visit]:
    visits = Visit.objects.select_for_update(of=("self",))
    return visits.select_related("spa__site__client", "spa__organisation", "organisation", "technician")


def _refuse_stale(row: Visit, expected_revision: int | None, states: Collection[str]) -> None:
    if row.state == VisitState.SIGNED:
        raise AlreadySigned
    if expected_revision is not None and row.revision != expected_revision:
        raise Changed(row.revision, changes_since(row, expected_revision))
    if row.state not in states:
        raise Refused(_wrong_state(row))


def allow(visit: Visit, *, by: Person, action: Action) -> None:
    """Raise NotAllowed unless ``by`` may do ``action`` and the visit is of their firm."""
    require(by, action)
    if visit.organisation_id != by.organisation_id:
        raise NotAllowed(action)


def note(visit: Visit, action: str, /, *, by: Person, **detail: Any) -> None:
    """The audit row of a change to a visit, with the revision that it made."""
    record_event(action=action, subject=visit, by=by, detail={"revision": visit.revision, **detail})


def note_many(action: str, noted: Sequence[tuple[Visit, dict[str, Any]]], /, *, by: Person) -> None:
    """The same for many visits, each with its detail."""
    subjects = [(visit, {"revision": visit.revision, **detail}) for visit, detail in noted]
    record_events(action=action, subjects=subjects, by=by)


def changes_since(visit: Visit, revision: int) -> tuple[Change, ...]:
    """What was done to the visit after a revision, newest first; at most the last 50 entries."""
    events = AuditEvent.objects.filter(
        organisation=visit.organisation_id,
        subject_type=visit._meta.label_lower,
        subject_id=str(visit.pk),
    )[:50]
    later = [event for event in events if event.detail.get("revision", 0) > revision]
    people = Person.objects.filter(organisation=visit.organisation_id)
    names = dict(people.filter(pk__in={event.actor_id for event in later}).values_list("pk", "name"))
    return tuple(
        Change(
            event.at,
            names.get(event.actor_id, "Somebody") if event.actor_id else "Runnel",
            _CHANGED_WORDS.get(event.action, "changed it"),
        )
        for event in later
    )


def _wrong_state(visit: Visit) -> str:
    if visit.state in (VisitState.PLANNED, VisitState.PART_DONE):
        return "Start the visit first."
    if visit.state == VisitState.ON_SITE:
        return "The visit has started. End it, or sign it."
    return f"This visit has ended: {visit.get_state_display().lower()}."
