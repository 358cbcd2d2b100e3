"""What a dispatcher asks of a week, one thing at a time, on weeks small enough to work out by hand."""

from typing import Any

import pytest

from service.rounds.solver.solve import Effort, plan

from .checker import broken_rules, true_cost
from .weeks import HOUR, Json, shift, stops_of, technician, visit, week

QUICK = Effort(iterations=60, processes=1)
LINE = [(0, 0), (10, 0), (20, 0), (30, 0)]
"""A depot and three places on one road, ten minutes apart."""


def _plan(request: Json, effort: Effort = QUICK) -> Json:
    response = plan(request, effort)
    assert broken_rules(request, response) == []
    assert response["cost"] == pytest.approx(true_cost(request, response), abs=0.01)
    return response


def _reason(response: Json, name: str) -> Json:
    return next(item for item in response["unserved"] if item["visit"] == name)


def _one(*visits: Json, days: int = 1, people: list[Json] | None = None, **more: Any) -> Json:
    return week(days, LINE, people or [technician("t1", days)], list(visits), **more)


def test_visits_of_one_place_are_put_on_the_same_day_when_days_can_be_chosen() -> None:
    far = [visit("v1", "p3", [[0], [1]]), visit("v2", "p3", [[0], [1], [2]]), visit("v3", "p3", [[1], [2]])]

    response = _plan(_one(*far, days=3))

    assert {route["day"] for route in response["routes"]} == {1}


def test_a_visit_due_twice_is_served_on_both_days_of_one_choice() -> None:
    response = _plan(_one(visit("v1", "p1", [[0, 3], [1, 4]]), days=5))

    assert sorted(day for _, day in stops_of(response)) in ([0, 3], [1, 4])


def test_a_visit_starts_in_the_window_of_its_day() -> None:
    windows = [{"day": 0, "from": 9 * HOUR, "to": 10 * HOUR}, {"day": 1, "from": 15 * HOUR, "to": 16 * HOUR}]

    response = _plan(_one(visit("v1", "p1", [[0, 1]], windows=windows), days=2))

    stops = stops_of(response)
    assert 9 * HOUR <= stops["v1", 0]["start"] <= 10 * HOUR
    assert 15 * HOUR <= stops["v1", 1]["start"] <= 16 * HOUR


def test_either_of_two_windows_of_a_day_is_used() -> None:
    early, late = (
        {"day": None, "from": 8 * HOUR, "to": 9 * HOUR},
        {"day": None, "from": 14 * HOUR, "to": 15 * HOUR},
    )
    fixed = visit("v2", "p1", [[0]], windows=[{**early, "to": 8 * HOUR + 600}], service=3 * HOUR)

    response = _plan(_one(visit("v1", "p2", [[0]], windows=[early, late]), fixed))

    assert stops_of(response)["v1", 0]["start"] >= 14 * HOUR


def test_skills_refusals_and_pins_decide_who_comes() -> None:
    people = [technician("t1", 1, skills=["electrics"]), technician("t2", 1), technician("t3", 1)]
    visits = [
        visit("skilled", "p1", [[0]], needs=["electrics"]),
        visit("refused", "p1", [[0]], not_with=["t1", "t2"]),
        visit("pinned", "p1", [[0]], pinned={"technician": "t2", "day": 0, "from": 11 * HOUR}),
    ]

    stops = stops_of(_plan(_one(*visits, people=people)))

    assert {name: stop["technician"] for (name, _), stop in stops.items()} == {
        "skilled": "t1",
        "refused": "t3",
        "pinned": "t2",
    }
    assert stops["pinned", 0]["start"] == 11 * HOUR


def test_a_van_carries_no_more_than_it_can() -> None:
    people = [technician("t1", 1, capacity=5), technician("t2", 1, capacity=5)]
    visits = [visit(f"v{i}", "p1", [[0]], load=2.5) for i in range(4)]

    response = _plan(_one(*visits, people=people))

    assert [route["load"] for route in response["routes"]] == [5, 5]


def test_everybody_starts_and_ends_where_they_live() -> None:
    people = [technician("t1", 1, start="p3", end="p0")]

    response = _plan(_one(visit("v1", "p1", [[0]]), visit("v2", "p2", [[0]]), people=people))

    assert [stop["visit"] for stop in response["routes"][0]["stops"]] == ["v2", "v1"]
    assert response["figures"]["driving"] == 30 * 60


def test_a_break_is_taken_between_visits() -> None:
    rest = {"from": 12 * HOUR, "to": 13 * HOUR, "duration": 1800}
    people = [technician("t1", 1, shifts=[shift(0, **{"break": rest})])]
    visits = [visit(f"v{i}", "p1", [[0]], service=2 * HOUR) for i in range(4)]

    response = _plan(_one(*visits, people=people))

    assert response["status"] == "complete"
    assert 12 * HOUR <= response["routes"][0]["break"]["start"] <= 12 * HOUR + 1800


def test_overtime_is_worked_only_when_it_is_allowed() -> None:
    visits = [visit(f"v{i}", "p1", [[0]], service=3 * HOUR) for i in range(3)]
    prices = {"distance": 1, "overtime": 1}

    strict = _plan(_one(*visits, people=[technician("t1", 1)], prices=prices))
    people = [technician("t1", 1, shifts=[shift(0, overtime_max=HOUR)])]
    relaxed = _plan(_one(*visits, people=people, prices=prices))

    assert (strict["status"], strict["figures"]["overtime"]) == ("incomplete", 0)
    assert (relaxed["status"], relaxed["figures"]["overtime"]) == ("complete", 20 * 60)


def test_a_maximum_duration_is_shorter_than_the_shift() -> None:
    people = [technician(name, 1, shifts=[shift(0, max_duration=2 * HOUR)]) for name in ("t1", "t2")]
    visits = [visit(f"v{i}", "p1", [[0]], service=HOUR) for i in range(2)]

    response = _plan(_one(*visits, people=people))

    assert len(response["routes"]) == 2


def test_spas_of_one_site_are_served_in_one_go() -> None:
    people = [technician("t1", 3), technician("t2", 3)]
    spas = [
        visit("a", "p1", [[0], [1]]),
        visit("b", "p1", [[1], [2]], together_with=["a"]),
        visit("c", "p1", [[0], [1], [2]], together_with=["b"]),
    ]

    response = _plan(_one(*spas, visit("other", "p3", [[0]]), days=3, people=people))

    stops = stops_of(response)
    assert {(day, stop["technician"]) for (name, day), stop in stops.items() if name in "abc"} == {
        (1, stops["a", 1]["technician"])
    }
    assert len(response["routes"]) == 2


def test_visits_that_belong_together_at_two_places_get_one_technician() -> None:
    people = [technician("t1", 1, start="p1", end="p1"), technician("t2", 1, start="p3", end="p3")]
    visits = [visit("v1", "p1", [[0]]), visit("v2", "p3", [[0]], together_with=["v1"])]

    response = _plan(_one(*visits, people=people))

    assert len(response["routes"]) == 1


def test_a_retest_comes_late_enough_the_same_day() -> None:
    first = visit("treat", "p1", [[0], [1]])
    retest = visit("retest", "p1", [[0], [1]], after={"visit": "treat", "min_gap": 2 * HOUR}, service=600)

    response = _plan(_one(first, retest, days=2))

    ((_, day),) = [key for key in stops_of(response) if key[0] == "treat"]
    stops = stops_of(response)
    assert stops["retest", day]["start"] >= stops["treat", day]["leave"] + 2 * HOUR


def test_a_retest_that_cannot_be_the_same_day_comes_on_a_later_one() -> None:
    first = visit("treat", "p1", [[1]])
    retest = visit("retest", "p1", [[0], [2]], after={"visit": "treat", "min_gap": 12 * HOUR})

    stops = stops_of(_plan(_one(first, retest, days=3)))

    assert ("retest", 2) in stops


def test_an_optional_visit_is_served_only_when_it_is_worth_it() -> None:
    near = visit("near", "p1", [[0]], optional=True, drop_penalty=13_000)
    far = visit("far", "p3", [[0]], optional=True, drop_penalty=13_000)

    response = _plan(_one(near, far))

    assert response["status"] == "complete"
    assert _reason(response, "far") == {
        "visit": "far",
        "reason": "it would fit on day 0 with t1 but costs 11000.00 more than leaving it out",
        "would_fit_if": "its drop penalty were at least 24000.00",
        "code": "too_dear",
        "day": 0,
        "technician": "t1",
    }
    assert response["cost"] == 12_000 + 13_000


def test_an_optional_visit_without_a_penalty_is_served_when_there_is_room() -> None:
    response = _plan(_one(visit("v1", "p3", [[0]], optional=True, drop_penalty=None)))

    assert response["unserved"] == []


def test_last_weeks_days_are_kept_when_moving_costs_more_than_it_saves() -> None:
    visits = [visit("v1", "p3", [[0], [1]]), visit("v2", "p3", [[0], [1]])]
    previous = [
        {"technician": "t1", "day": 0, "stops": [{"visit": "v1"}]},
        {"technician": "t1", "day": 1, "stops": [{"visit": "v2"}]},
    ]

    steady = _plan(_one(*visits, days=2, previous=previous, prices={"distance": 1, "moved_visit": 40_000}))
    free = _plan(_one(*visits, days=2, previous=previous, prices={"distance": 1, "moved_visit": 30_000}))

    assert (steady["figures"]["moved"], len(steady["routes"])) == (0, 2)
    assert (free["figures"]["moved"], len(free["routes"])) == (1, 1)


def test_the_same_technician_comes_again_when_a_change_costs_more_than_it_saves() -> None:
    people = [technician("t1", 1, start="p1", end="p1"), technician("t2", 1, start="p2", end="p2")]
    previous = [{"technician": "t2", "day": 0, "stops": [{"visit": "v1"}]}]
    request = _one(visit("v1", "p1", [[0]]), people=people, previous=previous)

    steady = _plan({**request, "prices": {"distance": 1, "moved_technician": 20_000}})
    free = _plan({**request, "prices": {"distance": 1, "moved_technician": 5_000}})

    assert [response["routes"][0]["technician"] for response in (steady, free)] == ["t2", "t1"]
    assert [response["figures"]["changed_technician"] for response in (steady, free)] == [0, 1]


@pytest.mark.parametrize(
    ("prices", "cost"),
    [
        pytest.param({"distance": 1}, 12_000, id="metres"),
        pytest.param({"kilometre": 0.5}, 6.0, id="kilometres"),
        pytest.param({"driving_minute": 0.2}, 4.0, id="driving minutes"),
        pytest.param({"duration_minute": 0.2}, 10.0, id="minutes out"),
        pytest.param({"kilometre": 0.5, "vehicle_day": 20}, 26.0, id="a day out"),
        pytest.param({"vehicle_day": 20}, 12_020, id="metres count unless another price is given"),
    ],
)
def test_the_cost_is_in_the_users_units(prices: Json, cost: float) -> None:
    response = _plan(_one(visit("v1", "p1", [[0]]), prices=prices))

    assert response["cost"] == pytest.approx(cost)


def test_objective_is_another_name_for_prices() -> None:
    request = _one(visit("v1", "p1", [[0]]))
    del request["prices"]

    response = plan({**request, "objective": {"kilometre": 1}}, QUICK)

    assert response["cost"] == pytest.approx(12.0)


def test_the_figures_are_the_sums_of_the_rounds() -> None:
    windows = [{"day": None, "from": 12 * HOUR, "to": 12 * HOUR}]
    visits = [visit("v1", "p1", [[0]], pinned={"from": 10 * HOUR}), visit("v2", "p2", [[0]], windows=windows)]

    response = _plan(_one(*visits))

    assert response["figures"] == {
        "driving": 2400,
        "working": 3600,
        "waiting": 2 * HOUR - 1800 - 600,
        "break": 0,
        "duration": 600 + 2 * HOUR + 1800 + 1200,
        "overtime": 0,
        "distance": 24_000,
        "vehicle_days": 1,
        "moved": 0,
        "changed_technician": 0,
    }


def test_the_same_seed_and_iterations_give_the_same_plan() -> None:
    visits = [visit(f"v{i}", f"p{1 + i % 3}", [[0], [1], [2]], service=HOUR) for i in range(9)]
    request = _one(*visits, days=3, people=[technician("t1", 3), technician("t2", 3)])

    first, second = (plan(request, Effort(iterations=150, processes=1, seed=7)) for _ in range(2))

    assert {**first, "seconds": 0} == {**second, "seconds": 0}


def test_a_cancelled_search_gives_the_best_plan_so_far() -> None:
    request = _one(*[visit(f"v{i}", "p1", [[0]]) for i in range(5)])
    asked = iter([False] * 20)

    response = plan(request, Effort(seconds=600, processes=1), is_cancelled=lambda: next(asked, True))

    assert broken_rules(request, response) == []
    assert (response["status"], response["cancelled"]) == ("complete", True)


def test_a_week_without_visits_or_without_people_is_answered() -> None:
    empty = _plan(_one())
    nobody = _plan(
        _one(visit("v1", "p1", [[0]]), people=[technician("t1", 1, shifts=[shift(0)])]) | {"technicians": []}
    )

    assert (empty["status"], empty["cost"]) == ("complete", 0)
    assert nobody["status"] == "incomplete"
