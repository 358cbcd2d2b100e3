"""From what is owed to the planner's request: clocks, windows, pins, the plan before, stops of one site."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from service.rounds.merged_stops import merge_stops, part_stops
from service.rounds.plan_values import in_words
from service.rounds.problem_of_week import (
    Obligation,
    OpenHours,
    Placed,
    Roads,
    RoundPrices,
    Week,
    Working,
    problem_of_week,
)
from service.rounds.solver.request import read_problem
from service.rounds.week_clock import moment_at, seconds_at, seconds_into, span_of

VADUZ = ZoneInfo("Europe/Vaduz")
MONDAY = date(2026, 6, 1)
DAYS = [MONDAY + timedelta(days=n) for n in range(7)]
PLACES = ("base", "a", "b", "island")
ROADS = Roads(
    PLACES,
    [[0, 600, 900, -1], [600, 0, 300, -1], [900, 300, 0, -1], [-1, -1, -1, 0]],
    [[0, 6000, 9000, -1], [6000, 0, 3000, -1], [9000, 3000, 0, -1], [-1, -1, -1, 0]],
    {"island": "No road leads to the pin."},
)


def week(*obligations: Obligation, monday: date = MONDAY, **fields: object) -> Week:
    days = [monday + timedelta(days=n) for n in range(5)]
    working = [Working("bea", day, time(8), time(16), "base", "base") for day in days]
    plain = {"monday": monday, "zone": VADUZ, "obligations": obligations, "working": working, "roads": ROADS}
    return Week(**{**plain, **fields})  # type: ignore[arg-type]


def owed(key: str, at: str = "a", **fields: object) -> Obligation:
    plain = {"key": key, "location": at, "service_minutes": 30, "day_choices": ((DAYS[0],), (DAYS[2],))}
    return Obligation(**{**plain, **fields})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("day", "hours"),
    [(date(2026, 3, 28), 8), (date(2026, 3, 29), 7), (date(2026, 10, 24), 8), (date(2026, 10, 25), 9)],
)
def test_eight_in_the_morning_is_so_many_hours_after_midnight(day: date, hours: int) -> None:
    # Summer time in Europe begins and ends at 01:00 UTC on the last Sundays of March and October
    # (Directive 2000/84/EC); Vaduz lies in Central European Time.
    assert seconds_at(day, time(8), VADUZ) == hours * 3600
    assert moment_at(day, hours * 3600, VADUZ) == datetime.combine(day, time(8), tzinfo=VADUZ)
    assert seconds_into(day, datetime.combine(day, time(8), tzinfo=VADUZ), VADUZ) == hours * 3600


def test_a_clock_time_that_comes_twice_opens_at_the_first_and_closes_at_the_second() -> None:
    assert span_of(date(2026, 10, 25), time(2, 30), time(2, 45), VADUZ) == (2.5 * 3600, 3.75 * 3600)


@pytest.mark.parametrize("monday", [date(2026, 3, 23), date(2026, 10, 19)])
def test_shifts_and_windows_of_a_sunday_on_which_the_clocks_change_follow_them(monday: date) -> None:
    sunday = monday + timedelta(days=6)
    item = owed("v", day_choices=((sunday,),), hours=(OpenHours(None, time(10), time(12)),))
    working = [Working("bea", sunday, time(8), time(16), "base", "base")]

    request = problem_of_week(week(item, monday=monday, working=working)).request

    shifted = -1 if monday.month == 3 else 1
    shift, window = request["technicians"][0]["shifts"][0], request["visits"][0]["windows"][0]
    assert (shift["from"], shift["to"]) == ((8 + shifted) * 3600, (16 + shifted) * 3600)
    assert (window["day"], window["from"], window["to"]) == (6, (10 + shifted) * 3600, (12 + shifted) * 3600)


def test_a_week_must_begin_on_a_monday() -> None:
    with pytest.raises(ValueError, match="Monday"):
        problem_of_week(week(monday=date(2026, 6, 2)))


def test_what_cannot_be_reached_is_left_out_in_words_and_the_rest_is_asked_for() -> None:
    problem = problem_of_week(week(owed("v"), owed("far", "island"), owed("lost", "")))

    assert [visit["id"] for visit in problem.request["visits"]] == ["v"]
    assert {gone.key: gone.reason for gone in problem.left_out} == {
        "far": "No road leads to the pin.",
        "lost": "The site has no position on the map, so no drive to it can be worked out.",
    }
    assert [place["id"] for place in problem.request["locations"]] == ["base", "a", "b"]
    read_problem(problem.request)


def test_a_pin_holds_even_on_a_day_that_the_agreement_does_not_name() -> None:
    pins = [Placed("v", "bea", DAYS[3]), Placed("w", "bea", DAYS[2])]

    visits = problem_of_week(week(owed("v"), owed("w"), pins=pins)).request["visits"]

    assert visits[0]["pinned"] == [{"technician": "bea", "day": 3}]
    assert visits[0]["day_choices"] == [[3]]
    assert visits[1]["day_choices"] == [[0], [2]]


def test_somebody_who_begins_elsewhere_on_some_days_is_two_technicians_of_the_planner() -> None:
    working = [
        Working("bea", DAYS[0], time(8), time(16), "base", "base"),
        Working("bea", DAYS[1], time(8), time(16), "b", "base"),
    ]
    item = owed("v", not_with=("bea",))

    problem = problem_of_week(week(item, working=working, previous=[Placed("v", "bea", DAYS[1])]))

    assert problem.people == {"bea": "bea", "bea/2": "bea"}
    assert problem.request["visits"][0]["not_with"] == ["bea", "bea/2"]
    assert problem.request["previous"] == [
        {"technician": "bea/2", "day": 1, "stops": [{"visit": "v", "start": None}]}
    ]


def test_the_preferred_person_is_asked_for_at_a_price_of_their_own() -> None:
    prices = RoundPrices(driving_minute=0.4, moved_visit=0)

    read = read_problem(problem_of_week(week(owed("v", preferred="bea"), owed("w"), prices=prices)).request)

    assert [sorted(read.technicians[who].id for who in visit.preferred) for visit in read.visits] == [
        ["bea"],
        [],
    ]
    assert read.prices.not_preferred == pytest.approx(5 * 0.4)


def test_prices_reach_the_planner_by_their_units() -> None:
    prices = RoundPrices(0.4, 0.3, 0.6, 20, 5)

    read = read_problem(problem_of_week(week(owed("v"), prices=prices)).request).prices

    assert read.driving * 60 == pytest.approx(0.4)
    assert read.distance * 1000 == pytest.approx(0.3)
    assert read.overtime * 60 == pytest.approx(0.6)
    assert (read.vehicle_day, read.moved_visit) == (20, 5)


def test_spas_of_one_site_on_the_same_days_and_hours_are_one_stop_and_told_apart_again() -> None:
    hours = (OpenHours(None, time(10), time(12)),)
    items = [owed("v", hours=hours), owed("w", hours=hours), owed("x"), owed("y", "b", hours=hours)]
    request = problem_of_week(week(*items)).request

    merged, members = merge_stops(request)

    assert members == {"v": ["v", "w"], "x": ["x"], "y": ["y"]}
    stop = merged["visits"][0]
    assert stop["service"] == 3600
    # The second begins by noon: the first by half past eleven.
    assert {(w["from"], w["to"]) for w in stop["windows"]} == {(10 * 3600, 11.5 * 3600)}
    answer = {
        "routes": [{"stops": [{"visit": "v", "arrive": 35_000, "start": 36_000, "leave": 39_600}]}],
        "unserved": [],
    }
    assert part_stops(answer, request, members)["routes"][0]["stops"] == [
        {"visit": "v", "arrive": 35_000, "start": 36_000, "leave": 37_800},
        {"visit": "w", "arrive": 37_800, "start": 37_800, "leave": 39_600},
    ]


def test_a_large_site_is_cut_into_stops_of_three_hours_at_most() -> None:
    request = problem_of_week(week(*(owed(f"v{n}", service_minutes=50) for n in range(8)))).request

    _, members = merge_stops(request)

    assert sorted(len(names) for names in members.values()) == [2, 3, 3]


def test_a_reason_names_people_and_days() -> None:
    said = in_words(
        "no room: closest is bea/2 on day 4, 25 min over the shift",
        monday=MONDAY,
        names={"bea": "Bea", "bea/2": "Bea"},
        today=MONDAY,
    )

    assert said == "no room: closest is Bea on Friday 5 June, 25 min over the shift"
