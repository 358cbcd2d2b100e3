"""Makes the demonstration's months before anew, from the seed: some minutes, and nothing stays behind."""

import time
from typing import Any

import time_machine
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django_scopes import scope

from accounts.models import Organisation
from service.demo.past import FILE, keep
from service.demo.scenario import found_firms
from service.demo.simulate import BASE, DAYS, SEED, simulate_firm


class Command(BaseCommand):
    help = (
        "Simulate the months behind the demonstration's firms and write fixtures/history.json.gz. Run it on "
        "an empty database: DATABASE_URL=sqlite://:memory: manage.py simulate_history"
    )

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", verbosity=0, interactive=False)
        if Organisation.objects.exists():
            raise CommandError("This database has firms in it. Use DATABASE_URL=sqlite://:memory:.")
        started = time.monotonic()
        firms = {}
        with time_machine.travel(BASE, tick=False), transaction.atomic():
            for firm, cast in found_firms():
                with scope(organisation=cast.organisation):
                    firms[firm["name"]] = simulate_firm(firm, cast)
            # Nothing of it is kept: what is asked for at the end of a visit is never sent.
            transaction.set_rollback(True)
        visits = sum(len(spa["visits"]) for spas in firms.values() for spa in spas.values())
        self.stdout.write(f"{visits} visits in {time.monotonic() - started:.0f} s.")
        keep({"seed": SEED, "days": DAYS, "firms": firms})
        self.stdout.write(f"{FILE.name}: {FILE.stat().st_size / 1e6:.2f} MB.")
