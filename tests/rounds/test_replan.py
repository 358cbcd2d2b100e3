"""The day itself: an urgent visit, someone off sick, and what has happened stays as it was."""

import pytest

from service.rounds.solver.fields import BadRequestError
from service.rounds.solver.insert import insert
from service.rounds.solver.replan import without
from service.rounds.solver.solve import Effort, plan

from .checker import broken_rules, moves
from .weeks import HOUR, Json, shift, stops_of, technician, visit, week

QUICK = Effort(iterations=60, processes=1)
LINE = [(0, 0), (10, 0), (20, 0), (30, 0)]


@pytest.fixture
def planned() -> Json:
    """Two technicians, three days, nine visits, with the plan in force as ``previous``."""
    people = [technician("t1", 3), technician("t2", 3)]
    visits = [visit(f"v{i}", f"p{1 + i % 3}", [[0], [1], [2]], service=HOUR) for i in range(9)]
    request = week(3, LINE, people, visits)
    return {**request, "previous": plan(request, QUICK)["routes"]}


def _urgent(request: Json, **more: object) -> Json:
    item = visit("urgent", "p2", [[0], [2]], **more)
    return {**request, "visits": [*request["visits"], item], "insert": "urgent"}


def test_the_cheapest_places_for_an_urgent_visit_come_first(planned: Json) -> None:
    response = insert(_urgent(planned))

    costs = [slot["cost"] for slot in response["slots"]]
    assert len(costs) == 3
    assert costs == sorted(costs)
    assert {day for slot in response["slots"] for day in slot["days"]} <= {0, 2}


def test_the_places_say_who_waits_longer() -> None:
    person = technician("t1", 1, end="p3")
    request = week(1, LINE, [person], [visit("v1", "p1", [[0]]), visit("v2", "p3", [[0]])])
    request["previous"] = [{"technician": "t1", "day": 0, "stops": [{"visit": "v1"}, {"visit": "v2"}]}]
    urgent = visit("urgent", "p2", [[0]], pinned={"from": 10 * HOUR})

    response = insert({**request, "visits": [*request["visits"], urgent], "insert": "urgent"})

    (stop,) = response["slots"][0]["stops"]
    assert (stop["follows"], stop["precedes"], stop["start"]) == ("v1", "v2", 10 * HOUR)
    assert (response["slots"][0]["cost"], stop["added_duration"]) == (0, 1800)


def test_an_urgent_visit_that_fits_nowhere_has_a_reason(planned: Json) -> None:
    response = insert(_urgent(planned, service=9 * HOUR))

    assert response["slots"] == []
    assert response["unserved"][0]["code"] == "window_unreachable"


def test_an_urgent_visit_must_be_new(planned: Json) -> None:
    with pytest.raises(BadRequestError, match="v1 is in the plan already"):
        insert({**planned, "insert": "v1"})
    with pytest.raises(BadRequestError, match="there is no visit 'x'"):
        insert({**planned, "insert": "x"})


def test_an_urgent_visit_comes_after_now(planned: Json) -> None:
    response = insert({**_urgent(planned), "now": {"day": 2, "time": 11 * HOUR}})

    assert response["slots"]
    for slot in response["slots"]:
        assert slot["days"] == [2]
        assert slot["stops"][0]["start"] >= 11 * HOUR


def test_only_the_visits_of_someone_off_sick_are_moved() -> None:
    people = [technician("t1", 2), technician("t2", 2)]
    visits = [visit(f"v{i}", f"p{1 + i % 3}", [[0], [1]], service=2 * HOUR) for i in range(8)]
    request = week(2, LINE, people, visits)
    request["previous"] = [
        {"technician": who, "day": day, "stops": [{"visit": f"v{i}"} for i in range(first, first + 2)]}
        for first, (who, day) in enumerate([("t1", 0), ("t1", 1), ("t2", 0), ("t2", 1)])
        for first in [2 * first]
    ]

    response = without({**request, "without": [{"technician": "t1", "day": 0}]}, QUICK)

    stops = stops_of(response)
    stayed = {"v2", "v3", "v4", "v5", "v6", "v7"}
    before = {(s["visit"], r["day"]): r["technician"] for r in request["previous"] for s in r["stops"]}
    assert response["status"] == "complete"
    assert {key: stops[key]["technician"] for key in before if key[0] in stayed} == {
        key: who for key, who in before.items() if key[0] in stayed
    }


def test_what_has_begun_stays_as_it_was(planned: Json) -> None:
    now = {"day": 1, "time": 11 * HOUR}
    before = stops_of({"routes": planned["previous"]})
    begun = {k: s for k, s in before.items() if k[1] < 1 or (k[1] == 1 and s["start"] < 11 * HOUR)}
    gone = next((s["technician"] for (_, day), s in before.items() if day == 1), "t1")

    response = without({**planned, "now": now, "without": [{"technician": gone, "day": 1}]}, QUICK)

    after = stops_of(response)
    assert begun
    for key, stop in begun.items():
        assert (after[key]["start"], after[key]["technician"]) == (stop["start"], stop["technician"])
    assert all(s["start"] >= 11 * HOUR for (_, day), s in after.items() if day == 1 and (_, day) not in begun)
    assert all(key in begun for key in after if key[1] == 0)


def test_a_visit_begun_earlier_today_stays_though_it_may_be_done_at_any_hour() -> None:
    visits = [visit(f"v{i}", f"p{1 + i}", [[0]], service=HOUR) for i in range(3)]
    request = week(1, LINE, [technician("t1", 1)], visits)
    before = plan(request, QUICK)
    first = before["routes"][0]["stops"][0]
    now = {"day": 0, "time": first["start"] + 60}

    response = without({**request, "previous": before["routes"], "now": now, "without": []}, QUICK)

    assert response["unserved"] == []
    assert response["routes"][0]["stops"][0]["start"] == first["start"]


def test_a_price_on_moves_in_the_request_is_kept(planned: Json) -> None:
    asked = {**planned, "prices": {"distance": 1, "moved_visit": 7}, "without": [{"technician": "t2"}]}

    response = without(asked, QUICK)

    moved, changed = moves(asked, response)
    figures = response["figures"]
    assert (figures["moved"], figures["changed_technician"]) == (moved, changed)
    assert response["cost"] == pytest.approx(figures["distance"] + 7 * moved + 7 / 4 * changed)
    assert response["status"] == "complete"


def test_unknown_people_in_without_are_refused(planned: Json) -> None:
    with pytest.raises(BadRequestError) as caught:
        without({**planned, "without": [{"technician": "t9", "day": 7}]}, QUICK)

    assert [error["field"] for error in caught.value.errors] == ["without[0].technician", "without[0].day"]


def test_the_plan_without_someone_keeps_every_limit(planned: Json) -> None:
    response = without(
        {**planned, "without": [{"technician": "t1", "day": 0}, {"technician": "t1", "day": 2}]}, QUICK
    )

    fewer = [{**planned["technicians"][0], "shifts": [shift(1)]}, planned["technicians"][1]]
    assert broken_rules({**planned, "technicians": fewer}, response) == []


def test_a_visit_that_follows_one_of_the_day_before_is_offered_late_enough() -> None:
    first = visit("first", "p1", [[0]], pinned={"from": 15 * HOUR})
    request = week(2, LINE, [technician("t1", 2)], [first])
    request["previous"] = [{"technician": "t1", "day": 0, "stops": [{"visit": "first"}]}]
    follower = visit("follower", "p1", [[1]], after={"visit": "first", "min_gap": 24 * HOUR}, service=600)

    response = insert({**request, "visits": [first, follower], "insert": "follower"})

    assert response["slots"][0]["stops"][0]["start"] == 15 * HOUR + 1800
