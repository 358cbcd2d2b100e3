"""Closing a spa. It reopens only when a visit is signed whose readings meet the guideline."""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from accounts.access import NotAllowed, require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action
from service.sites.models import Spa
from service.visits.models import Closure, Verdict, Visit, VisitState
from service.visits.wording import needed

LONGEST_REASON = 600
_SENTENCE_END = re.compile(r"(?<=\.)\s+(?=[A-Z]|pH)")


def open_closure(spa: Spa) -> Closure | None:
    """The closure that stands, if the spa is closed."""
    return Closure.objects.filter(spa=spa, reopened_at=None).first()


def retest_asked(spa: Spa) -> datetime | None:
    """By when the newest signed visit wants the spa tested again; None when it asks for no retest."""
    last = Visit.objects.filter(spa=spa, state=VisitState.SIGNED).order_by("-ended_at").first()
    if last is None or last.verdict != Verdict.CLOSED_UNTIL_RETEST:
        return None
    return last.retest_due


@transaction.atomic
def close_spa(
    *,
    spa: Spa,
    reason: str,
    by: Person,
    visit: Visit | None = None,
    findings: Sequence[Mapping[str, Any]] = (),
    at: datetime | None = None,
) -> Closure:
    """Keep people out of a spa from now on. A spa that is closed already stays so, for this reason too.

    findings  What the closure rests on, as JSON; findings of the engine in the contract's form.

    Raises NotAllowed, or ValidationError for ``reason``.
    """
    require(by, Action.CLOSE_SPA)
    if spa.organisation_id != by.organisation_id:
        raise NotAllowed(Action.CLOSE_SPA)
    reason = needed(reason, "reason", "Say why the spa is closed.", longest=LONGEST_REASON)
    moment = at or timezone.now()
    # One after the other: two people closing one spa make one closure.
    Spa.objects.select_for_update(of=("self",)).get(pk=spa.pk)
    standing = open_closure(spa)
    if standing:
        return _renewed(standing, reason, findings, moment, by)
    closure = Closure.objects.create(
        organisation_id=spa.organisation_id,
        spa=spa,
        visit=visit,
        reason=reason,
        findings=[dict(finding) for finding in findings],
        closed_at=moment,
        renewed_at=moment,
        closed_by=by,
    )
    record_event(action="closure.opened", subject=closure, by=by, detail={"spa": str(spa.pk)})
    return closure


def reopen(closure: Closure, *, visit: Visit, by: Person, at: datetime) -> None:
    """End a closure by the readings of ``visit``. Called by signing alone, inside its transaction.

    Raises NotAllowed.
    """
    require(by, Action.REOPEN_SPA)
    closure.reopened_at, closure.reopened_by, closure.reopened_visit = at, by, visit
    closure.save(update_fields=["reopened_at", "reopened_by", "reopened_visit"])
    record_event(action="closure.reopened", subject=closure, by=by, detail={"visit": str(visit.pk)})


def _renewed(
    closure: Closure, reason: str, findings: Sequence[Mapping[str, Any]], at: datetime, by: Person
) -> Closure:
    """The standing closure, for one more reason; what it already says is not said twice."""
    fresh = " ".join(part for part in _SENTENCE_END.split(reason) if part.rstrip(".") not in closure.reason)
    if fresh:
        closure.reason = f"{closure.reason.rstrip('.')}. {fresh}"[:LONGEST_REASON]
    closure.findings = [*closure.findings, *(dict(finding) for finding in findings)]
    closure.renewed_at = max(closure.renewed_at, at)
    closure.save(update_fields=["reason", "findings", "renewed_at"])
    record_event(action="closure.renewed", subject=closure, by=by, detail={"spa": str(closure.spa_id)})
    return closure
