"""One step of a scene beside a real worker, as a process of its own: ``-m tests.rounds.week_worker_scene``.

``ask SECONDS``  A firm with ten spas, agreements, two people and their shifts; next week's plan asked for.
``stop``         The office asks to stop the run.
``check``        Whether the plan that was kept breaks any limit of its own problem. Prints JSON.
"""

import json
import sys
from datetime import date, time, timedelta
from typing import Any

import django

django.setup()

from django.db import transaction  # noqa: E402
from django_scopes import scope, scopes_disabled  # noqa: E402

from accounts.models import Person  # noqa: E402
from service.rounds.build_week import ask_week_plan  # noqa: E402
from service.rounds.models import Agreement, PlannedVisit, Shift, TechnicianBase, WeekPlan  # noqa: E402
from service.runs.ask import cancel_run  # noqa: E402
from service.runs.models import Run  # noqa: E402
from tests.personas import make_firm  # noqa: E402
from tests.rounds.week_scene import YARD, second_technician, spas_around  # noqa: E402

SPAS = 10


def ask(seconds: int) -> dict[str, Any]:
    firm = make_firm("Alderbrook Spa Care")
    today = date.today()
    monday = today + timedelta(days=7 - today.weekday())
    with scope(organisation=firm.organisation), transaction.atomic():
        owned = {"organisation": firm.organisation}
        for spa in spas_around(firm, SPAS):
            Agreement.objects.create(
                **owned, spa=spa, times_a_week=1, starts_on=monday, avoid_public_holidays=False
            )
        for person in (firm.technician, second_technician(firm)):
            TechnicianBase.objects.create(
                **owned,
                technician=person,
                start_name=YARD.name,
                start_latitude=YARD.latitude,
                start_longitude=YARD.longitude,
            )
            for weekday in range(5):
                Shift.objects.create(
                    **owned, technician=person, weekday=weekday, opens=time(8), closes=time(16, 30)
                )
        run = ask_week_plan(monday, firm.office, seconds=seconds)
    return {"run": run.pk.hex}


def stop() -> dict[str, Any]:
    with scopes_disabled():
        run = Run.objects.select_related("organisation").get()
        return {"stopped": cancel_run(run=run, by=Person.objects.get(pk=run.asked_by_id))}


def check() -> dict[str, Any]:
    with scopes_disabled():
        plan = WeekPlan.objects.get()
        rows = PlannedVisit.objects.filter(plan=plan)
        return {
            "visits": rows.filter(day__isnull=False).count(),
            "stopped_early": plan.stopped_early,
            "figures": plan.figures,
        }


if __name__ == "__main__":
    steps: dict[str, Any] = {"ask": lambda: ask(int(sys.argv[2])), "stop": stop, "check": check}
    print(json.dumps(steps[sys.argv[1]]()))  # noqa: T201
