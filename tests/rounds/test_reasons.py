"""Why a visit is not served, in words, and what would free it; the rest is planned all the same."""

from typing import Any

import pytest

from service.rounds.solver.solve import Effort, plan

from .checker import broken_rules
from .weeks import HOUR, Json, shift, technician, visit, week

QUICK = Effort(iterations=40, processes=1)
LINE = [(0, 0), (10, 0), (20, 0), (500, 0)]


def _week(odd: Json, people: list[Json] | None = None, **more: Any) -> Json:
    """A week with one easy visit and an odd one."""
    easy = visit("easy", "p1", [[0], [1]])
    return week(2, LINE, people or [technician("t1", 2, capacity=10)], [easy, odd], **more)


@pytest.mark.parametrize(
    ("odd", "code", "reason", "would_fit_if"),
    [
        pytest.param(
            visit("odd", "p1", [[0]], needs=["heat_pumps", "electrics"]),
            "no_skill",
            "no technician can do electrics and heat_pumps",
            "a technician could do electrics and heat_pumps",
            id="no technician has the skills",
        ),
        pytest.param(
            visit("odd", "p1", [[0]], not_with=["t1"]),
            "refused",
            "it must not be served by t1, and nobody else has the skills",
            "one of them were allowed, or another technician had the skills",
            id="the only technician is refused",
        ),
        pytest.param(
            visit("odd", "p1", [[0]], load=12),
            "too_heavy",
            "its load of 12 is above the largest van's 10",
            "a van could take 12",
            id="load above every van",
        ),
        pytest.param(
            visit("odd", "p1", [[0]], windows=[{"day": 1, "from": 9 * HOUR, "to": 10 * HOUR}]),
            "no_open_day",
            "no allowed day has both a shift and an open window: closed on day 0",
            "the place were open on day 0",
            id="closed on its only day",
        ),
        pytest.param(
            visit("odd", "p1", [[0]], windows=[{"day": None, "from": 6 * HOUR, "to": 8 * HOUR}]),
            "window_unreachable",
            "even alone it cannot be done in time on day 0: 10 min too late with t1",
            "its window or the shift of t1 on day 0 were 10 min longer",
            id="window closes before anyone can be there",
        ),
        pytest.param(
            visit("odd", "p3", [[0], [1]]),
            "window_unreachable",
            "even alone it cannot be done in time on day 0: 490 min too late with t1",
            "its window or the shift of t1 on day 0 were 490 min longer",
            id="too far for a shift",
        ),
        pytest.param(
            visit("odd", "p1", [[0]], pinned={"day": 1}),
            "pinned",
            "it is pinned to day 1, which is in none of its day choices",
            "the pin were lifted or day 1 were allowed",
            id="pinned to another day",
        ),
        pytest.param(
            visit("odd", "p1", [[0]], after={"visit": "easy", "min_gap": 10 * HOUR}),
            "linked",
            "its days or times cannot be combined with those of easy",
            "easy could be served on the same days, or the link were lifted",
            id="a gap that fits into no day",
        ),
    ],
)
def test_an_impossible_visit_is_left_out_with_its_reason(
    odd: Json, code: str, reason: str, would_fit_if: str
) -> None:
    request = _week(odd)

    response = plan(request, QUICK)

    (answer,) = response["unserved"]
    assert (answer["code"], answer["reason"], answer["would_fit_if"]) == (code, reason, would_fit_if)
    assert response["status"] == "incomplete"
    assert [stop["visit"] for route in response["routes"] for stop in route["stops"]] == ["easy"]
    assert broken_rules(request, response) == []


def test_a_day_without_anyone_is_named() -> None:
    people = [technician("t1", 2, shifts=[shift(1)])]

    (answer,) = plan(_week(visit("odd", "p1", [[0]]), people), QUICK)["unserved"]

    assert answer["reason"] == (
        "no allowed day has both a shift and an open window: nobody who may serve it works on day 0"
    )


def test_a_place_without_a_road_is_named() -> None:
    request = _week(visit("odd", "p2", [[0]]))
    for matrix in request["travel"].values():
        matrix[0][2] = None

    (answer,) = plan(request, QUICK)["unserved"]

    assert (answer["code"], answer["reason"]) == ("no_road", "no road leads to p2")


def test_a_full_day_says_who_comes_closest_and_what_is_missing() -> None:
    long = [visit(f"v{i}", "p1", [[0]], service=4 * HOUR) for i in range(2)]
    extra = visit("odd", "p1", [[0]], service=2 * HOUR, optional=True, drop_penalty=1_000_000)
    request = week(1, LINE, [technician("t1", 1)], [*long, extra])

    (answer,) = plan(request, QUICK)["unserved"]

    assert answer == {
        "visit": "odd",
        "reason": "no room: closest is t1 on day 0, 80 min over the shift",
        "would_fit_if": "t1 had 80 min more on day 0, or another visit were moved",
        "code": "no_room",
        "day": 0,
        "technician": "t1",
        "missing": 4800,
    }


def test_full_vans_say_by_how_much() -> None:
    visits = [visit(f"v{i}", "p1", [[0]], load=6, drop_penalty=i) for i in range(2)]
    request = week(1, LINE, [technician("t1", 1, capacity=10)], visits)

    (answer,) = plan(request, QUICK)["unserved"]

    assert answer["reason"] == "the vans are full: closest is t1 on day 0, 2 over the load"


def test_what_cannot_be_combined_costs_no_more_visits_than_it_must() -> None:
    visits = [
        visit("a", "p1", [[0]]),
        visit("b", "p1", [[0]], together_with=["a"]),
        visit("c", "p1", [[1]], together_with=["a"]),
    ]
    request = week(2, LINE, [technician("t1", 2)], visits)

    response = plan(request, QUICK)

    assert [item["visit"] for item in response["unserved"]] == ["c"]
    assert broken_rules(request, response) == []


def test_a_retest_of_an_impossible_visit_is_not_planned() -> None:
    first = visit("first", "p1", [[0]], needs=["magic"])
    retest = visit("retest", "p1", [[0]], after={"visit": "first", "min_gap": 0})

    response = plan(week(1, LINE, [technician("t1", 1)], [first, retest]), QUICK)

    reasons = {item["visit"]: item["reason"] for item in response["unserved"]}
    assert reasons["retest"] == "it follows first, which is not served"
