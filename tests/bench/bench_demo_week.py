"""The demonstration's next week: planned, and by two rules of thumb, in hours and kilometres.

    RUNNEL_DATA_DIR=FOLDER python manage.py demo --only-seed
    RUNNEL_DATA_DIR=FOLDER python -m tests.bench.bench_demo_week [--seconds 30]

Nothing is written. Each rule is compared with a plan of the visits that it could place; the plans go
through the independent checker of the tests. Exit status 1 when one breaks a limit.
"""

import argparse
import os
import sys
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "service.settings")
django.setup()

from django_scopes import scope, scopes_disabled  # noqa: E402

from accounts.models import Organisation  # noqa: E402
from service.rounds.problem_of_week import problem_of_week  # noqa: E402
from service.rounds.solver.solve import Effort  # noqa: E402
from service.rounds.week_inputs import named_week, read_inputs  # noqa: E402
from service.shell.days import today_at  # noqa: E402
from tests.bench.bench_week import planned, told  # noqa: E402
from tests.bench.hand_rules import HandRules  # noqa: E402
from tests.bench.packed_rules import PackedRules  # noqa: E402
from tests.rounds.checker import broken_rules  # noqa: E402

Json = dict[str, Any]

RULES = {
    "An area each, spread over the days": HandRules,
    "One person after the other, days filled": PackedRules,
}


def next_week() -> tuple[Json, list[tuple[float, float]]]:
    """The first firm's next week as the planner's request, without what was planned before."""
    with scopes_disabled():
        firm = Organisation.objects.order_by("name").first()
    assert firm is not None
    with scope(organisation=firm):
        today = today_at(firm)
        named = named_week(read_inputs(firm, today + timedelta(days=7 - today.weekday())))
        request = problem_of_week(named.week).request
    spots = [named.spots[place["id"]] for place in request["locations"]]
    places = [(spot.longitude, spot.latitude) for spot in spots]
    visits = [visit | {"pinned": []} for visit in request["visits"]]
    return request | {"visits": visits, "previous": None}, places


def served_by(request: Json, response: Json) -> set[str]:
    return {v["id"] for v in request["visits"]} - {gone["visit"] for gone in response["unserved"]}


def only(response: Json, names: set[str]) -> Json:
    routes = [
        route | {"stops": [stop for stop in route["stops"] if stop["visit"] in names]}
        for route in response["routes"]
    ]
    return response | {"routes": [route for route in routes if route["stops"]], "unserved": []}


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures; returns the exit status."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seconds", type=float, default=30.0)
    options = parser.parse_args(arguments)
    request, places = next_week()
    broken: list[str] = []
    for name, rules in RULES.items():
        by_hand = rules(request, places).plan()
        same = served_by(request, by_hand)
        asked = request | {"visits": [visit for visit in request["visits"] if visit["id"] in same]}
        response, seconds = planned(asked, Effort(options.seconds, processes=2))
        wrong = broken_rules(asked, response)
        print(
            f"\n{name}: {len(same)} of {len(request['visits'])} obligations placed; the same planned "
            f"in {seconds:.0f} s, limits broken: {wrong or 'none'}"
        )
        print("| | visits | without a place | days out | hours driven | km |")
        print("| --- | --- | --- | --- | --- | --- |")
        print(told("by hand", asked, only(by_hand, same)))
        print(told("planned", asked, response))
        broken += wrong
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
