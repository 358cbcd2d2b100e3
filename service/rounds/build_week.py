"""Planning a week in the background: asked for, searched by the planner, kept as a draft."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from accounts.access import require
from accounts.models import Organisation, Person
from accounts.roles import Action
from service.rounds.keep_plan import keep_plan
from service.rounds.merged_stops import merge_stops, part_stops
from service.rounds.plan_values import PlanValue, day_name, read_plan, seconds_now
from service.rounds.problem_of_week import DAYS, WeekProblem, problem_of_week
from service.rounds.roads.times import RoadsError
from service.rounds.solver_process import Effort, Search, run_solver
from service.rounds.week_inputs import NamedWeek, WeekInputs, named_week, read_inputs
from service.runs.ask import ask_run
from service.runs.models import LIVE_STATES, Run, RunState
from service.runs.work import RunFailed, Stopped, finishing, step
from service.shell.clock import local_time
from service.shell.days import today_at
from service.visits.editing import Refused

BUILD_TASK = "rounds.build_week"
LEAST_SECONDS, MOST_SECONDS = 1, 600
WEEKS_AHEAD = 53
NOTHING_OWED = "Nothing is owed this week: no agreement asks for a visit in it."
NOBODY_WORKS = "Nobody works this week. Enter shifts first, then plan it."


@transaction.atomic
def ask_week_plan(
    monday: date, by: Person, *, seconds: int = 60, iterations: int | None = None, seed: int = 1
) -> Run:
    """Ask for a plan of the week that begins on ``monday``. It becomes a draft; nothing else changes.

    seconds     Of search, 1 to 600.
    iterations  Search so many rounds instead: then the same data and seed give the same plan.

    Raises NotAllowed or Refused (not a Monday, over, too far ahead, being planned already).
    """
    require(by, Action.PLAN_VISITS)
    return ask_build(by.organisation, monday, by=by, seconds=seconds, iterations=iterations, seed=seed)


@transaction.atomic
def ask_build(
    organisation: Organisation,
    monday: date,
    *,
    by: Person | None,
    seconds: int = 60,
    iterations: int | None = None,
    seed: int = 1,
    title: str = "Planned anew",
    steady: bool = False,
) -> Run:
    """The same for the product itself (``by`` None). steady: move nothing only to save driving."""
    if wrong := _why_not(organisation, monday, seconds):
        raise Refused(wrong)
    # Two people who ask at once are served one after the other.
    Organisation.objects.select_for_update().get(pk=organisation.pk)
    if (busy := build_under_way(organisation, monday)) is not None:
        who = busy.asked_by.name if busy.asked_by else "Runnel"
        since = local_time(busy.created_at, organisation.time_zone)
        raise Refused(
            f"The {week_name(monday)} is being planned already: {who} asked at {since}. "
            "Wait for it, or stop it first."
        )
    return ask_run(
        task=BUILD_TASK,
        arguments={
            "monday": monday.isoformat(),
            "seconds": seconds,
            "iterations": iterations,
            "seed": seed,
            "title": title,
            "steady": steady,
        },
        title=f"Plan of the {week_name(monday)}",
        by=by,
        organisation=organisation,
    )


def build_under_way(organisation: Organisation, monday: date) -> Run | None:
    """The run that is planning this week now, if any."""
    runs = Run.objects.filter(organisation=organisation, task=BUILD_TASK, state__in=LIVE_STATES)
    return runs.filter(arguments__monday=monday.isoformat()).select_related("asked_by").first()


def week_name(monday: date) -> str:
    """ "week of 1 June 2026"."""
    return f"week of {monday.day} {monday:%B %Y}"


def build(run: Run) -> None:
    """The work of the run: read, search, keep. Stopped by a person, it keeps the best so far."""
    monday = date.fromisoformat(run.arguments["monday"])
    step(run, done=0, total=100, doing="Reading what is owed, who works and the drives between")
    try:
        inputs = read_inputs(run.organisation, monday)
        named = named_week(inputs)
    except RoadsError as problem:
        raise RunFailed(str(problem)) from problem
    if not inputs.owed:
        raise RunFailed(NOTHING_OWED)
    if not inputs.shifts:
        raise RunFailed(NOBODY_WORKS)
    built = plan_inputs(
        inputs, named, _effort(run), watch=_watch(run, inputs), steady=run.arguments["steady"]
    )
    with finishing(run):
        keep_plan(inputs, named, built, run=run, title=run.arguments["title"])


@dataclass(frozen=True)
class Built:
    """What the planner made of a week. response: with every visit for itself."""

    problem: WeekProblem
    response: dict[str, Any]
    value: PlanValue
    stopped_early: bool
    effort: Effort


def plan_inputs(
    inputs: WeekInputs,
    named: NamedWeek,
    effort: Effort,
    *,
    watch: Callable[[Search | None], bool] = lambda _: False,
    steady: bool = False,
    now: datetime | None = None,
) -> Built:
    """Plan a week that was read. Days that are over, and visits that have begun, stay as they were.

    steady  Only what must move moves, whatever that costs in driving.
    """
    problem = problem_of_week(named.week)
    now = now or timezone.now()
    moment = seconds_now(now, inputs.monday, inputs.zone)
    merged, members = merge_stops(problem.request)
    if steady:
        # Without a price the planner takes one that no shorter drive is worth.
        merged = {**merged, "prices": {**merged["prices"], "moved_visit": 0}}
    command = "without" if moment or steady else "plan"
    if command == "without":
        merged = {**merged, "now": moment, "without": []}
    answer = run_solver(command, merged, effort, watch=watch)
    response = part_stops(answer, problem.request, members)
    value = read_plan(
        problem.request,
        response,
        monday=inputs.monday,
        zone=inputs.zone,
        people=problem.people,
        names=named.names,
        today=now.astimezone(inputs.zone).date(),
    )
    value = PlanValue(value.rounds, (*problem.left_out, *value.left_out))
    return Built(problem, response, value, bool(answer.get("cancelled")), effort)


def _why_not(organisation: Organisation, monday: date, seconds: int) -> str:
    today = today_at(organisation)
    if monday.weekday():
        return f"A week begins on a Monday; {day_name(monday)} is none."
    if monday + timedelta(days=DAYS - 1) < today:
        return f"The {week_name(monday)} is over."
    if monday > today + timedelta(weeks=WEEKS_AHEAD):
        return f"A week can be planned up to {WEEKS_AHEAD} weeks ahead."
    if not LEAST_SECONDS <= seconds <= MOST_SECONDS:
        return f"The search takes from {LEAST_SECONDS} to {MOST_SECONDS} seconds."
    return ""


def _effort(run: Run) -> Effort:
    wanted = run.arguments
    return Effort(wanted["seconds"], wanted["iterations"], wanted["seed"])


def _watch(run: Run, inputs: WeekInputs) -> Callable[[Search | None], bool]:
    """Tells the run how far the search is; true once a person has asked to stop it."""
    people = len({shift.technician.pk for shift in inputs.shifts})
    what = f"Planning {len(inputs.owed)} visits for {people} {'person' if people == 1 else 'people'}"
    seconds = run.arguments["seconds"]

    def look(search: Search | None) -> bool:
        try:
            step(
                run,
                done=round(95 * (search.fraction if search else 0)),
                total=100,
                doing=_doing(what, search, seconds),
            )
        except Stopped:
            if not _asked_to_stop(run):
                raise
            return True
        return False

    return look


def _doing(what: str, search: Search | None, seconds: int) -> str:
    if search is None:
        return what
    left = round((1 - search.fraction) * seconds)
    missing = f"; {search.unserved} without a place so far" if search.unserved else ""
    return f"{what}: about {left} s left{missing}"


def _asked_to_stop(run: Run) -> bool:
    """Whether a person asked, and the run is still this worker's."""
    mine = Run.objects.filter(pk=run.pk, state=RunState.RUNNING, attempt=run.attempt)
    return mine.filter(cancel_asked=True).exists()
