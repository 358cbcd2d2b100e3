"""A firm with sites on a plain and people who work there; invented. What is owed is given, not looked up."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any

from service.rounds.build_week import Built, plan_inputs
from service.rounds.keep_plan import keep_plan
from service.rounds.models import WeekPlan
from service.rounds.owed import Owed
from service.rounds.problem_of_week import RoundPrices
from service.rounds.roads.straight_line import StraightLine
from service.rounds.roster import Place, WorkShift
from service.rounds.solver_process import Effort
from service.rounds.week_inputs import (
    NamedWeek,
    WeekInputs,
    named_week,
    pins_of,
    plan_to_keep_close_to,
    previous_of,
    read_inputs,
)
from service.sites.models import Spa
from tests.factories import (
    AgreementFactory,
    PersonFactory,
    ShiftFactory,
    SiteFactory,
    SpaFactory,
    TechnicianBaseFactory,
)
from tests.personas import Firm

MONDAY = date(2026, 6, 1)
YARD = Place("The yard", 51.0, -2.0)
QUICK = Effort(seconds=20, iterations=60, seed=1, processes=1)
PRICES = RoundPrices(driving_minute=0.4, kilometre=0.3, overtime_minute=0.6, technician_day=20, moved_visit=5)
ANY_WORKDAY = tuple((MONDAY + timedelta(days=n),) for n in range(5))


def spas_around(firm: Firm, count: int) -> list[Spa]:
    """So many sites with one spa each, on a spiral about the yard, up to 12 km away."""
    spas = []
    for n in range(count):
        at = {
            "latitude": f"{51 + 0.004 * n * (-1) ** n:.6f}",
            "longitude": f"{-2 + 0.006 * (n % 7) - 0.01:.6f}",
        }
        site = SiteFactory(client=firm.client, name=f"Site {n:03}", **at)
        spas.append(SpaFactory(site=site, name=f"Tub {n:03}"))
    return spas


def owed_to(spa: Spa, **fields: Any) -> Owed:
    """One visit on any working day, 40 minutes."""
    plain: dict[str, Any] = {
        "key": f"{spa.pk}:{MONDAY}",
        "spa": spa,
        "agreement": None,
        "why": "Once a week",
        "service_minutes": 40,
        "needs": (),
        "day_choices": ANY_WORKDAY,
        "windows": (),
        "changeover_days": frozenset(),
        "preferred": None,
        "not_with": (),
        "optional": False,
    }
    return Owed(**{**plain, **fields})


def shift_of(person: Any, day: date, **fields: Any) -> WorkShift:
    plain: dict[str, Any] = {
        "technician": person,
        "day": day,
        "opens": time(8),
        "closes": time(16, 30),
        "break_opens": time(11, 30),
        "break_closes": time(13, 30),
        "break_minutes": 30,
        "most_minutes": None,
        "overtime_minutes": 0,
        "start": YARD,
        "end": YARD,
        "capacity": 200,
        "skills": (),
    }
    return WorkShift(**{**plain, **fields})


def week_shifts(*people: Any, days: Sequence[int] = range(5), **fields: Any) -> list[WorkShift]:
    """The same shift for everybody from Monday to Friday."""
    return [shift_of(person, MONDAY + timedelta(days=n), **fields) for person in people for n in days]


def second_technician(firm: Firm) -> Any:
    return PersonFactory(organisation=firm.organisation, name="Ada Quill", roles=["technician"])


def inputs_for(
    firm: Firm, owed: Sequence[Owed], shifts: Sequence[WorkShift], monday: date = MONDAY, **fields: Any
) -> WeekInputs:
    """Read as for a real week, with what is owed and who works given."""
    base = plan_to_keep_close_to(firm.organisation, monday)
    inputs = WeekInputs(
        organisation=firm.organisation,
        monday=monday,
        owed=owed,
        shifts=shifts,
        travel_times=StraightLine(),
        prices=PRICES,
        base=base,
        previous=previous_of(base, monday, owed),
        pins=pins_of(firm.organisation, monday),
    )
    return replace(inputs, **fields)


def built(
    inputs: WeekInputs, *, now: datetime | None = None, effort: Effort = QUICK, **more: Any
) -> tuple[NamedWeek, Built]:
    named = named_week(inputs)
    before = now or datetime.combine(MONDAY - timedelta(days=3), time(12), tzinfo=inputs.zone)
    return named, plan_inputs(inputs, named, effort, now=before, **more)


def kept(firm: Firm, inputs: WeekInputs, **more: Any) -> WeekPlan:
    """The week planned and kept as a draft."""
    named, made = built(inputs, **more)
    return keep_plan(inputs, named, made, run=None, title="Planned anew", by=firm.office)


def at_work(firm: Firm, *people: Any, days: Sequence[int] = range(5)) -> None:
    """The people begin and end at the yard and work these weekdays, as rows."""
    for person in people:
        TechnicianBaseFactory(
            technician=person,
            start_name=YARD.name,
            start_latitude=f"{YARD.latitude:.6f}",
            start_longitude=f"{YARD.longitude:.6f}",
        )
        for weekday in days:
            ShiftFactory(technician=person, weekday=weekday)


def agreed(spa: Spa, **fields: Any) -> Any:
    """An agreement as a row: once a week on working days, whatever holidays there are."""
    return AgreementFactory(**{"spa": spa, "avoid_public_holidays": False, **fields})


def planned_from_rows(firm: Firm, monday: date = MONDAY, **more: Any) -> WeekPlan:
    """What is owed and who works read from the rows, planned, and kept as a draft."""
    inputs = read_inputs(firm.organisation, monday)
    return kept(firm, inputs, **more)
