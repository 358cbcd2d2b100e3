"""Weeks with every kind of condition at once: whatever is planned keeps every limit and adds up."""

import json

import pytest
from hypothesis import HealthCheck, given, settings

from service.rounds.solver.insert import insert
from service.rounds.solver.replan import without
from service.rounds.solver.solve import Effort, plan

from .checker import broken_rules, moves, true_cost
from .weeks import Json, rich_weeks, weeks_of_large_sites

QUICK = Effort(iterations=40, processes=1)
some = settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.large_base_example],
)


@some
@given(rich_weeks())
def test_a_plan_keeps_every_limit_and_its_cost_adds_up(request: Json) -> None:
    response = plan(request, QUICK)

    assert broken_rules(request, response) == []
    assert response["cost"] == pytest.approx(true_cost(request, response), abs=0.01)
    moved, changed = moves(request, response)
    assert (response["figures"]["moved"], response["figures"]["changed_technician"]) == (moved, changed)
    json.dumps(response, allow_nan=False)


@some
@given(weeks_of_large_sites())
def test_spas_of_one_site_are_done_by_one_person_around_breaks_and_skills(request: Json) -> None:
    response = plan(request, QUICK)

    assert broken_rules(request, response) == []
    at = {stop: (route["technician"], route["day"]) for route in response["routes"] for stop in _names(route)}
    for visit in request["visits"]:
        for other in visit["together_with"]:
            assert at.get(visit["id"], at.get(other)) == at.get(other, at.get(visit["id"]))


@some
@given(rich_weeks())
def test_a_plan_without_a_technician_keeps_every_limit(request: Json) -> None:
    before = plan(request, QUICK)
    gone = request["technicians"][0]["id"]
    again = {**request, "previous": before["routes"], "without": [{"technician": gone, "day": 0}]}

    response = without(again, QUICK)

    shifts = [s for s in request["technicians"][0]["shifts"] if s["day"] != 0]
    fewer = [{**request["technicians"][0], "shifts": shifts}, *request["technicians"][1:]]
    assert broken_rules({**again, "technicians": fewer}, response) == []


@some
@given(rich_weeks())
def test_every_place_offered_for_an_urgent_visit_can_be_driven(request: Json) -> None:
    urgent = {**request["visits"][-1], "together_with": [], "after": None, "pinned": None, "optional": False}
    names = {urgent["id"]}
    others = [
        {**v, "together_with": [o for o in v["together_with"] if o not in names]}
        for v in request["visits"][:-1]
    ]
    request = {**request, "visits": others, "previous": None}
    before = plan(request, QUICK)
    asked = {**request, "visits": [*others, urgent], "previous": before["routes"], "insert": urgent["id"]}

    response = insert(asked)

    assert bool(response["slots"]) != bool(response["unserved"])
    for slot in response["slots"]:
        routes = _with(before["routes"], slot["routes"])
        unserved = [item for item in before["unserved"] if item["visit"] != urgent["id"]]
        planned = {**before, "routes": routes, "unserved": unserved}
        assert broken_rules({**asked, "previous": None}, planned) == []


def _names(route: Json) -> list[str]:
    return [stop["visit"] for stop in route["stops"]]


def _with(routes: list[Json], changed: list[Json]) -> list[Json]:
    """The plan once the changed routes take the place of those that share a stop with them."""
    kept = []
    for route in routes:
        stops = {stop["visit"] for stop in route["stops"]}
        replaced = any(
            (c["technician"], c["day"]) == (route["technician"], route["day"])
            and stops <= {stop["visit"] for stop in c["stops"]}
            for c in changed
        )
        if not replaced:
            kept.append(route)
    return [*kept, *changed]
