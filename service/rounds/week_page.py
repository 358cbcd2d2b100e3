"""What the week's page says around its lines: which plan, how it stands, what leads on from nothing."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Exists, OuterRef, Q
from django.urls import reverse

from accounts.models import Organisation, Person
from accounts.roles import Action
from service.rounds.build_week import BUILD_TASK
from service.rounds.models import (
    Agreement,
    PlanState,
    RoadSource,
    RoundSettings,
    Shift,
    TechnicianBase,
    WeekPlan,
)
from service.rounds.plan_comparison import PlanChange, compare
from service.rounds.plan_values import day_name
from service.rounds.standing_visits import beside
from service.rounds.visible import visible_plans
from service.rounds.week_lines import WeekLines, week_lines
from service.runs.models import Run, RunState
from service.visits.models import Visit

MOST_PLANS = 20


@dataclass(frozen=True)
class Lead:
    """Something that is missing before a week can be planned, and where it is entered."""

    text: str
    words: str
    url: str


@dataclass(frozen=True)
class WeekPage:
    """Everything on the page of one week.

    run     The planning that is under way, or that ended without a plan; None otherwise.
    change  Against the published plan, when another one is looked at.
    beside  Visits planned by hand that the plan does not know of.
    """

    monday: date
    plans: Sequence[WeekPlan]
    plan: WeekPlan | None
    lines: WeekLines | None
    published: WeekPlan | None
    change: PlanChange | None
    run: Run | None
    leads: Sequence[Lead]
    beside: Sequence[Visit]
    may_plan: bool

    @property
    def week(self) -> tuple[date, date]:
        return self.monday, self.monday + timedelta(days=6)

    @property
    def before(self) -> date:
        return self.monday - timedelta(days=7)

    @property
    def after(self) -> date:
        return self.monday + timedelta(days=7)

    @property
    def may_change(self) -> bool:
        """Whether the plan's visits can be moved by this person."""
        return self.may_plan and self.plan is not None and self.plan.state != PlanState.SET_ASIDE

    @property
    def moved_share(self) -> int:
        """Visits on another day or with somebody else than in the plan it was made from, in percent."""
        figures: dict[str, Any] = self.plan.figures if self.plan else {}
        visits = figures.get("visits", 0)
        return (
            round(100 * (figures.get("moved", 0) + figures.get("changed_hands", 0)) / visits) if visits else 0
        )


def monday_of(day: date) -> date:
    """The first day of its week.

    >>> monday_of(date(2026, 6, 7))
    datetime.date(2026, 6, 1)
    """
    return day - timedelta(days=day.weekday())


def week_page(person: Person, monday: date, chosen: WeekPlan | None = None) -> WeekPage:
    """The page of a week, with the plan that was asked for or else the one that is worked on."""
    rows = (
        visible_plans(person)
        .filter(monday=monday)
        .select_related("organisation", "made_by", "published_by", "based_on")
    )
    plans = list(rows[:MOST_PLANS])
    plan = next((row for row in plans if chosen and row.pk == chosen.pk), chosen) or in_hand(plans)
    published = next((row for row in plans if row.is_published), None)
    other = published if published and plan and published.pk != plan.pk else None
    may_plan = person.may(Action.PLAN_VISITS)
    return WeekPage(
        monday=monday,
        plans=plans,
        plan=plan,
        lines=week_lines(plan) if plan else None,
        published=published,
        change=compare(plan, other) if plan and other else None,
        run=_run(person, monday, plans),
        leads=list(leads(person.organisation, monday)) if plan is None and may_plan else [],
        beside=beside(plan) if plan and plan.state != PlanState.SET_ASIDE else [],
        may_plan=may_plan,
    )


def in_hand(plans: Sequence[WeekPlan]) -> WeekPlan | None:
    """The plan that is worked on: a draft newer than the published one, else that, else any draft.

    plans: of one week, newest first.
    """
    live = [plan for plan in plans if plan.state != PlanState.SET_ASIDE]
    return live[0] if live else None


def _run(person: Person, monday: date, plans: Sequence[WeekPlan]) -> Run | None:
    """The newest planning of the week, unless it ended well or a plan came after it."""
    runs = Run.objects.filter(organisation=person.organisation_id, task=BUILD_TASK)
    run = runs.filter(arguments__monday=monday.isoformat()).select_related("asked_by").first()
    if run is None or run.is_live:
        return run
    newer = plans and plans[0].created_at > run.created_at
    return None if newer or run.state == RunState.DONE else run


def leads(organisation: Organisation, monday: date) -> Iterator[Lead]:
    """What is missing before this week can be planned, first things first."""
    last = monday + timedelta(days=6)
    in_force = Agreement.objects.filter(
        Q(ends_on=None) | Q(ends_on__gte=monday),
        organisation=organisation,
        starts_on__lte=last,
        spa__archived_at=None,
    )
    if not in_force.exists():
        text = "No agreement asks for a visit in this week. An agreement says how often a spa is visited."
        yield Lead(text, "Enter an agreement", reverse("rounds:agreements"))
    unplaced = in_force.filter(Q(spa__site__latitude=None) | Q(spa__site__longitude=None))
    first = unplaced.select_related("spa__site").order_by("spa__site__name").first()
    if first is not None:
        many = unplaced.values("spa__site").distinct().count()
        others = f" and {many - 1} more" if many > 1 else ""
        text = (
            f"{first.spa.site.name}{others} has no position on the map."
            if many == 1
            else (f"{first.spa.site.name}{others} have no position on the map.")
        )
        url = reverse("sites:site_edit", args=[first.spa.site_id])
        yield Lead(text, f"Enter the position of {first.spa.site.name}", url)
    yield from _leads_of_people(organisation)
    chosen = RoundSettings.objects.filter(organisation=organisation).first()
    if chosen is None or chosen.road_source == RoadSource.STRAIGHT_LINE:
        text = "Driving times are guessed along straight lines, ± 45 %. A road map gives better ones."
        yield Lead(text, "Choose where driving times come from", reverse("rounds:settings"))


def _leads_of_people(organisation: Organisation) -> Iterator[Lead]:
    shifts = Shift.objects.filter(organisation=organisation, technician__is_active=True)
    if not shifts.exists():
        yield Lead("Nobody works yet: no shifts are entered.", "Enter the roster", reverse("rounds:roster"))
        return
    bases = TechnicianBase.objects.filter(technician=OuterRef("technician"), start_latitude__isnull=False)
    lost = shifts.exclude(Exists(bases)).select_related("technician").order_by("technician__name").first()
    if lost is not None:
        text = f"Where the day of {lost.technician.name} begins is not known."
        yield Lead(text, "Enter where it begins", reverse("rounds:shifts", args=[lost.technician_id]))


def said_state(plan: WeekPlan) -> str:
    """The plan's state as a shape and words."""
    return {
        PlanState.DRAFT: "○ Draft, not on people's days",
        PlanState.PUBLISHED: "● Published, on people's days",
        PlanState.SET_ASIDE: "□ Put aside",
    }[PlanState(plan.state)]


def day_words(day: date) -> str:
    """ "Monday 1 June"."""
    return day_name(day)
