"""Visits that stand in a week beside what the agreements owe: planned by hand, and urgent calls.

A week that is planned without them sends two people to one spa, and drops a call that was promised.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from accounts.models import Organisation
from service.rounds.models import Agreement, PlanProblem, PlanState, WeekPlan
from service.rounds.notes import Note
from service.rounds.owed import DayWindow, Owed
from service.rounds.owed_facts import put_on_by_a_plan
from service.rounds.owed_spa import named
from service.rounds.problem_of_week import Placed
from service.rounds.roster import DAYS_IN_WEEK
from service.rounds.week_clock import moment_at
from service.rounds.words import say_day
from service.shell.days import today_at
from service.visits.clock import zone_of
from service.visits.models import Visit, VisitKind, VisitState

BY_HAND, URGENT = "visit:", "urgent:"
MINUTES_UNKNOWN = 45
"""Time on site where no agreement says it, [min]. Own choice, no source."""
DAY_ENDS = time(23, 59)
ANY_TIME: dict[str, Any] = {"day_choices": [[n] for n in range(DAYS_IN_WEEK)], "windows": []}
OF_NO_AGREEMENT: dict[str, Any] = {
    "agreement": None,
    "needs": (),
    "preferred": None,
    "not_with": (),
    "optional": False,
}
WHY = {
    VisitKind.ROUND: "Planned by hand",
    VisitKind.CALL_OUT: "Call-out planned by hand",
    VisitKind.RETEST: "Retest",
}


@dataclass(frozen=True)
class StandingVisits:
    """What stands in the week. pins: those by hand whose person works that day stay with that person."""

    owed: Sequence[Owed]
    pins: Sequence[Placed]
    notes: Sequence[Note]


def standing_visits(
    organisation: Organisation, monday: date, at_work: Collection[tuple[UUID, date]]
) -> StandingVisits:
    """Visits by hand and urgent calls of the week that have not begun, from today on.

    at_work  Who works on which day (person's key, day).
    """
    visits = list(visits_by_hand(organisation, monday).select_related("spa__site__client", "technician"))
    minutes = _minutes(visits, monday)
    owed = [_owed(visit, minutes.get(visit.spa_id, MINUTES_UNKNOWN)) for visit in visits]
    pins = [
        Placed(key_of(visit), str(visit.technician_id), visit.planned_on)
        for visit in visits
        if (visit.technician_id, visit.planned_on) in at_work
    ]
    notes = [note for visit in visits if (note := _note(visit, at_work))]
    return StandingVisits([*owed, *_urgent(organisation, monday)], pins, notes)


def newest_plan(organisation: Organisation, monday: date) -> WeekPlan | None:
    """The plan of the week that was made last and not set aside."""
    plans = WeekPlan.objects.filter(organisation=organisation, monday=monday)
    return plans.exclude(state=PlanState.SET_ASIDE).order_by("-created_at").first()


def visits_by_hand(organisation: Organisation, monday: date) -> "QuerySet[Visit]":
    """Visits of the week from today on that have not begun and that no plan put on their day."""
    first = max(monday, today_at(organisation))
    visits = Visit.objects.filter(
        ~put_on_by_a_plan(),
        organisation=organisation,
        planned_on__range=(first, monday + timedelta(DAYS_IN_WEEK - 1)),
        state=VisitState.PLANNED,
        spa__archived_at=None,
    )
    return visits.order_by("planned_on", "sequence", "pk")


def beside(plan: WeekPlan) -> list[Visit]:
    """Visits by hand that no round of the plan knows of: they were planned after it was made."""
    known = {row.key for row in plan.visits.filter(key__startswith=BY_HAND).only("key")}
    visits = visits_by_hand(plan.organisation, plan.monday).select_related("spa__site", "technician")
    return [visit for visit in visits if key_of(visit) not in known]


def key_of(visit: Visit) -> str:
    """What a visit by hand is called in a plan."""
    return f"{BY_HAND}{visit.pk}"


def visit_key(key: str) -> UUID | None:
    """The visit that a key of a plan names, if it is one by hand."""
    return UUID(key.removeprefix(BY_HAND)) if key.startswith(BY_HAND) else None


def _minutes(visits: Sequence[Visit], monday: date) -> dict[UUID, int]:
    """Minutes on site by spa, where an agreement in force says them."""
    rows = Agreement.objects.filter(
        Q(ends_on=None) | Q(ends_on__gte=monday), spa__in={visit.spa_id for visit in visits}
    )
    return dict(rows.order_by("starts_on").values_list("spa_id", "minutes_on_site"))


def _owed(visit: Visit, minutes: int) -> Owed:
    hours = visit.window_from is not None or visit.window_to is not None
    window = DayWindow(visit.planned_on, visit.window_from or time.min, visit.window_to or DAY_ENDS)
    return Owed(
        key=key_of(visit),
        spa=visit.spa,
        why=WHY[VisitKind(visit.kind)],
        service_minutes=minutes,
        day_choices=((visit.planned_on,),),
        windows=(window,) if hours else (),
        changeover_days=frozenset([visit.planned_on] if visit.changeover else []),
        **OF_NO_AGREEMENT,
    )


def _note(visit: Visit, at_work: Collection[tuple[UUID, date]]) -> Note | None:
    if visit.technician is None or (visit.technician_id, visit.planned_on) in at_work:
        return None
    return Note(
        visit.spa,
        f"{named(visit.spa)} is planned by hand on {say_day(visit.planned_on)} for {visit.technician.name},"
        " who does not work then: it is given to somebody who does.",
    )


def _urgent(organisation: Organisation, monday: date) -> Iterator[Owed]:
    """The urgent calls of the week's newest plan that have not begun, on the days that are left."""
    newest = newest_plan(organisation, monday)
    if newest is None:
        return
    rows = newest.visits.filter(Q(visit=None) | Q(visit__state=VisitState.PLANNED), key__startswith=URGENT)
    calls = list(rows.select_related("spa__site__client"))
    if not calls:
        return
    request = PlanProblem.objects.get(plan=newest).content["request"]
    asked = {visit["id"]: visit for visit in request["visits"]}
    today, zone = today_at(organisation), zone_of(organisation)
    for row in calls:
        # One that could not be asked of the planner, as its place was not known, may come on any day.
        wanted = asked.get(row.key, ANY_TIME)
        days = [monday + timedelta(n) for (n,) in wanted["day_choices"]]
        if left := tuple((day,) for day in days if day >= today):
            yield Owed(
                key=row.key,
                spa=row.spa,
                why=row.why,
                service_minutes=row.service_minutes,
                day_choices=left,
                windows=tuple(_windows(wanted["windows"], monday, zone)),
                changeover_days=frozenset(),
                **OF_NO_AGREEMENT,
            )


def _windows(asked: Sequence[dict[str, int]], monday: date, zone: ZoneInfo) -> Iterator[DayWindow]:
    for window in asked:
        day = monday + timedelta(window["day"])
        opens, closes = (moment_at(day, window[end], zone).time() for end in ("from", "to"))
        yield DayWindow(day, opens, closes)
