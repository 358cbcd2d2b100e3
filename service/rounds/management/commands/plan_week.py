"""Plan a week from the command line, here and now: no worker is needed."""

from argparse import ArgumentParser
from datetime import date, timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django_scopes import scope

from accounts.models import Organisation
from service.rounds.build_week import ask_build, build, week_name
from service.rounds.models import WeekPlan
from service.runs.work import do_run
from service.shell.days import today_at
from service.visits.editing import Refused


class Command(BaseCommand):
    help = "Plan a week's rounds and keep them as a draft; next week unless a Monday is given."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--organisation", help="the firm's name; not needed where there is one only")
        parser.add_argument("--monday", type=date.fromisoformat, help="first day of the week, as 2026-06-01")
        parser.add_argument("--seconds", type=int, default=60, help="seconds of search, 1 to 600")

    def handle(self, *_: Any, **options: Any) -> None:
        organisation = _firm(options["organisation"])
        today = today_at(organisation)
        monday = options["monday"] or today + timedelta(days=7 - today.weekday())
        with scope(organisation=organisation):
            try:
                run = ask_build(
                    organisation, monday, by=None, seconds=options["seconds"], title="Planned by hand"
                )
            except Refused as refused:
                raise CommandError(str(refused)) from refused
            do_run(run.pk, build)
            run.refresh_from_db()
            plan = WeekPlan.objects.filter(run=run).first()
        if run.is_live:
            self.stdout.write("A worker has taken it up and is planning it now.")
            return
        if plan is None:
            raise CommandError(run.error or f"The {week_name(monday)} was not planned.")
        for name, value in plan.figures.items():
            self.stdout.write(f"{name.replace('_', ' '):>18}  {value}")


def _firm(name: str | None) -> Organisation:
    firms = list(Organisation.objects.filter(name=name) if name else Organisation.objects.all()[:2])
    if len(firms) != 1:
        raise CommandError(
            f"There is no firm named {name}." if name else "Say which firm: --organisation NAME."
        )
    return firms[0]
