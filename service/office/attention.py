"""Everything that needs a person, worked out from the rows as they stand. Nothing of it is stored."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils import timezone

from accounts.access import require
from accounts.models import Person
from accounts.roles import Action
from service.office.need import Kind, Need
from service.office.needs_of_spas import needs_of_spas
from service.office.needs_of_things import needs_of_things
from service.office.needs_of_visits import needs_of_closures, needs_of_visits
from service.visits.clock import zone_of

_ORDER = {kind: number for number, kind in enumerate(Kind)}


@dataclass(frozen=True)
class Attention:
    """The list, narrowed: ``counts`` by kind and ``technicians`` are of the whole of it."""

    needs: Sequence[Need]
    counts: Counter[Kind]
    technicians: list[tuple[str, str]]
    narrowed: bool


def attention(*, by: Person, kind: str = "", technician: str = "") -> Attention:
    """What needs a person of the firm, most urgent first; ten queries, whatever the number of rows.

    Raises NotAllowed.
    """
    require(by, Action.PLAN_VISITS)
    now, zone = timezone.now(), zone_of(by.organisation)
    found = [
        *needs_of_closures(now, zone),
        *needs_of_visits(now, zone),
        *needs_of_spas(by.organisation, now, zone),
        *needs_of_things(by, now, zone),
    ]
    found.sort(key=_urgent_first)
    people = sorted({need.technician for need in found if need.technician}, key=lambda one: one[::-1])
    chosen = [
        need
        for need in found
        if (not kind or need.kind == kind)
        and (not technician or (need.technician and need.technician[0] == technician))
    ]
    return Attention(chosen, Counter(need.kind for need in found), people, bool(kind or technician))


def _urgent_first(need: Need) -> tuple[object, ...]:
    return need.urgency, _ORDER[need.kind], need.since, need.where, need.about
