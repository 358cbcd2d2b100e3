"""A request that cannot be read is refused field by field, all fields at once."""

import copy
from collections.abc import Callable
from typing import Any

import pytest

from service.rounds.solver.fields import BadRequestError
from service.rounds.solver.request import read_problem

from .weeks import HOUR, Json, technician, visit, week

Change = Callable[[Json], Any]


def _request() -> Json:
    windows = [{"day": None, "from": 9 * HOUR, "to": 12 * HOUR}]
    return week(2, [(0, 0), (10, 0)], [technician("t1", 2)], [visit("v1", "p1", [[0], [1]], windows=windows)])


def _errors(request: Any) -> list[tuple[str, str]]:
    with pytest.raises(BadRequestError) as caught:
        read_problem(request)
    return [(error["field"], error["message"]) for error in caught.value.errors]


def _set(*path: Any) -> Change:
    """A change that sets a value deep in a request; the last argument is the value."""
    *keys, last, value = path

    def change(request: Json) -> None:
        target: Any = request
        for key in keys:
            target = target[key]
        target[last] = value

    return change


CASES: list[tuple[str, Change, str, str]] = [
    ("no days", _set("days", 0), "days", "must be from 1 to 60, not 0"),
    ("days in words", _set("days", "five"), "days", "must be a number"),
    ("half a day", _set("days", 1.5), "days", "must be whole, not 1.5"),
    (
        "matrix too small",
        _set("travel", "seconds", [[0]]),
        "travel.seconds",
        "must have one row for each of the 2 locations",
    ),
    ("row too short", _set("travel", "metres", 1, [0]), "travel.metres[1]", "must have 2 numbers"),
    (
        "fraction of a second",
        _set("travel", "seconds", 0, 1, 10.9),
        "travel.seconds[0][1]",
        "must be whole, not 10.9",
    ),
    (
        "negative time",
        _set("travel", "seconds", 0, 1, -5),
        "travel.seconds[0][1]",
        "must be from 0 to 1e+07, not -5",
    ),
    ("no position", _set("travel", {"metric": "euclidean"}), "locations[0].x", "must be a number"),
    (
        "two places of one name",
        _set("locations", 1, "id", "p0"),
        "locations[1].id",
        "the location 'p0' is listed twice",
    ),
    (
        "unknown start",
        _set("technicians", 0, "start", "x"),
        "technicians[0].start",
        "there is no location 'x'",
    ),
    ("unknown place", _set("visits", 0, "location", "x"), "visits[0].location", "there is no location 'x'"),
    (
        "shift ends before it begins",
        _set("technicians", 0, "shifts", 0, "to", 60),
        "technicians[0].shifts[0].to",
        "the shift ends before it begins",
    ),
    (
        "shift on a day outside the week",
        _set("technicians", 0, "shifts", 0, "day", 2),
        "technicians[0].shifts[0].day",
        "must be from 0 to 1, not 2",
    ),
    (
        "break too long for its time",
        _set("technicians", 0, "shifts", 0, "break", {"from": 0, "to": 60, "duration": 90}),
        "technicians[0].shifts[0].break.duration",
        "the break is longer than the time it may be taken in",
    ),
    (
        "window before it opens",
        _set("visits", 0, "windows", 0, "to", 60),
        "visits[0].windows[0].to",
        "the window closes before it opens",
    ),
    (
        "no day choice",
        _set("visits", 0, "day_choices", []),
        "visits[0].day_choices",
        "must offer at least one set of days",
    ),
    (
        "an empty day choice",
        _set("visits", 0, "day_choices", [[]]),
        "visits[0].day_choices[0]",
        "must name at least one day",
    ),
    (
        "a day outside the week",
        _set("visits", 0, "day_choices", [[5]]),
        "visits[0].day_choices[0][0]",
        "must be from 0 to 1, not 5",
    ),
    (
        "negative service",
        _set("visits", 0, "service", -1),
        "visits[0].service",
        "must be from 0 to 172800 seconds, not -1",
    ),
    (
        "endless service",
        _set("visits", 0, "service", float("inf")),
        "visits[0].service",
        "must be a number of seconds",
    ),
    (
        "optional in words",
        _set("visits", 0, "optional", "yes"),
        "visits[0].optional",
        "must be true or false",
    ),
    (
        "unknown technician refused",
        _set("visits", 0, "not_with", ["t9"]),
        "visits[0].not_with",
        "there is no technician 't9'",
    ),
    (
        "unknown visit to be with",
        _set("visits", 0, "together_with", ["v9"]),
        "visits[0].together_with",
        "there is no visit 'v9'",
    ),
    (
        "unknown visit to follow",
        _set("visits", 0, "after", {"visit": "v9"}),
        "visits[0].after.visit",
        "there is no visit 'v9'",
    ),
    (
        "after itself",
        _set("visits", 0, "after", {"visit": "v1"}),
        "visits[0].after.visit",
        "a visit cannot come after itself",
    ),
    (
        "pinned to a stranger",
        _set("visits", 0, "pinned", {"technician": "t9"}),
        "visits[0].pinned.technician",
        "there is no technician 't9'",
    ),
    ("negative price", _set("prices", "distance", -1), "prices.distance", "must be from 0 to 1e+07, not -1"),
    ("visits not a list", _set("visits", {}), "visits", "must be a list"),
    ("visit not an object", _set("visits", 0, "v1"), "visits[0]", "must be an object"),
]


@pytest.mark.parametrize(("change", "field", "message"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_a_bad_field_is_named_with_its_limit(change: Change, field: str, message: str) -> None:
    request = copy.deepcopy(_request())
    change(request)

    assert (field, message) in _errors(request)


def test_all_bad_fields_are_named_at_once() -> None:
    request = _request()
    request["visits"][0]["location"] = "x"
    request["technicians"][0]["start"] = "y"

    assert [field for field, _ in _errors(request)] == ["technicians[0].start", "visits[0].location"]


def test_visits_that_follow_each_other_in_a_circle_are_refused() -> None:
    request = _request()
    request["visits"] = [
        visit("a", "p1", [[0]], after={"visit": "b"}),
        visit("b", "p1", [[0]], after={"visit": "a"}),
    ]

    assert ("visits[0].after", "a comes after itself through other visits") in _errors(request)


@pytest.mark.parametrize("request_", [None, [], "week", 3], ids=["null", "list", "text", "number"])
def test_a_request_must_be_an_object(request_: Any) -> None:
    assert _errors(request_) == [("", "the request must be a JSON object")]


def test_people_and_visits_of_the_previous_plan_that_are_gone_are_left_out_of_it() -> None:
    request = _request()
    request["previous"] = [
        {"technician": "gone", "day": 0, "stops": [{"visit": "v1"}]},
        {"technician": "t1", "day": 1, "stops": [{"visit": "v1"}, {"visit": "gone"}]},
    ]

    problem = read_problem(request)

    assert problem.previous_days == {0: {1: 0}}
