"""Maps of a day's rounds, with the list of stops beside each."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.safestring import SafeString
from django.views.decorators.http import require_safe

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.rounds.models import WeekPlan
from service.rounds.plan_values import day_name
from service.rounds.retiming import Board
from service.rounds.road_map import Stop, map_of_round
from service.rounds.roads.extract import Extract
from service.rounds.roads.times import Point, RoadsError, TravelTimes
from service.rounds.travel import roads_of_this_machine, travel_times_for
from service.rounds.views_week import plan_or_404
from service.rounds.visible import visible_planned_rounds
from service.rounds.week_lines import RoundLine, StopLine, week_lines
from service.rounds.write_rounds import board_of


@dataclass(frozen=True)
class MappedRound:
    """A round with its map. none: why there is no map."""

    line: RoundLine
    map: SafeString
    none: str


@page_for(Action.SEE_FIRM)
@require_safe
def round_map(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One person's round of a day."""
    rounds = visible_planned_rounds(signed_in(request)).select_related("plan__organisation", "plan__problem")
    found = get_object_or_404(rounds, pk=pk)
    return _page(request, found.plan, found.day, found.pk)


@page_for(Action.SEE_FIRM)
@require_safe
def day_map(request: HttpRequest, pk: UUID, day: str) -> HttpResponse:
    """All rounds of a day. 404 where the plan has none."""
    try:
        on = date.fromisoformat(day)
    except ValueError as unknown:
        raise Http404 from unknown
    return _page(request, plan_or_404(signed_in(request), pk), on)


def _page(request: HttpRequest, plan: WeekPlan, day: date, only: Any = None) -> HttpResponse:
    days = week_lines(plan, day=day).days
    if not days:
        raise Http404
    lines = [line for line in days[0].rounds if only in (None, line.row.pk)]
    context = {"plan": plan, "day": day, "rounds": _mapped(plan, lines), "only": only}
    return render(request, "rounds/round_map.html", context)


def _mapped(plan: WeekPlan, lines: Sequence[RoundLine]) -> list[MappedRound]:
    try:
        roads, travel = roads_of_this_machine(), travel_times_for(plan.organisation)
        board = board_of(plan)
    except (RoadsError, WeekPlan.problem.RelatedObjectDoesNotExist) as problem:
        why = str(problem) if isinstance(problem, RoadsError) else "This plan keeps no places to draw."
        return [MappedRound(line, SafeString(), why) for line in lines]
    return [_drawn(plan, roads, travel, board, line) for line in lines]


def _drawn(plan: WeekPlan, roads: Extract, travel: TravelTimes, board: Board, line: RoundLine) -> MappedRound:
    start, end = _ends(plan, board, line)
    drawn = map_of_round(
        roads,
        travel,
        title=f"{day_name(line.row.day)}, {line.row.technician.name}",
        stops=_stops(line.stops),
        start=start,
        end=end,
        key=f"round-{line.row.pk}",
    )
    return MappedRound(line, drawn, "" if drawn else "No stop of this round has a position.")


def _stops(stops: Sequence[StopLine]) -> list[Stop]:
    """Stops with a position, in driving order."""
    return [
        Stop(stop.row.spa.site.name, Point(float(site.latitude), float(site.longitude)))
        for stop in stops
        for site in (stop.row.spa.site,)
        if site.latitude is not None and site.longitude is not None
    ]


def _ends(plan: WeekPlan, board: Board, line: RoundLine) -> tuple[Stop | None, Stop | None]:
    """Where the day began and ended when it was planned."""
    found = board.shifts(str(line.row.technician_id), (line.row.day - plan.monday).days)
    if not found:
        return None, None
    who = board.problem.technicians[found[0][0]]
    return _place(board, who.start), _place(board, who.end)


def _place(board: Board, number: int) -> Stop | None:
    place = board.request["locations"][number]
    return Stop(place["name"], Point(*place["at"])) if "at" in place else None
