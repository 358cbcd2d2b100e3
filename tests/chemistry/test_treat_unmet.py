"""What is given up is impossible, and what is possible is not given up: an independent linear programme.

Independent solver: scipy.optimize.linprog (HiGHS), with pH lines from PHREEQC (see treatment_possible).
"""

from random import Random

import pytest

from service.chemistry.treatment.treat import treat
from tests.chemistry.treatment_possible import Possible
from tests.chemistry.treatment_waters import ACCEPTANCE_SETS, SETS, landing_request

# A miss smaller than this share of a range is within what the two models of pH may differ by.
TOO_CLOSE_TO_TELL = 0.004


@pytest.fixture(scope="module")
def possible():
    return Possible()


def short_of_something(seed):
    """A request without supply water, or with half of its products gone."""
    random = Random(seed)
    request = landing_request(random, SETS)
    if random.random() < 0.7:
        del request["fill"]
    request["products"] = [product for product in request["products"] if random.random() < 0.6]
    return request


def wrongly_given_up(possible, requests):
    """Requests whose unmet limits could have been met, by the independent programme."""
    found = []
    for request in requests:
        answer = treat(request)
        if answer["unmet"] and possible.smallest_miss(request) < TOO_CLOSE_TO_TELL:
            found.append((request, [item["message"] for item in answer["unmet"]]))
    return found


def test_what_is_given_up_is_impossible(possible):
    requests = [short_of_something(seed) for seed in range(40)]

    assert sum(bool(treat(request)["unmet"]) for request in requests) >= 10
    assert wrongly_given_up(possible, requests) == []


@pytest.mark.long
def test_what_is_given_up_of_five_hundred_waters_is_impossible(possible):
    requests = [landing_request(Random(seed), ACCEPTANCE_SETS) for seed in range(10_000, 10_500)]

    assert wrongly_given_up(possible, requests) == []


@pytest.mark.long
def test_what_is_given_up_of_three_hundred_poor_kits_is_impossible(possible):
    assert wrongly_given_up(possible, [short_of_something(seed) for seed in range(300, 600)]) == []


def test_the_independent_programme_can_tell_impossible_from_possible(possible):
    request = landing_request(Random(3), ACCEPTANCE_SETS)
    request["readings"] |= {"ph": 8.2, "total_alkalinity_mg_l": 100, "cyanuric_acid_mg_l": 0}
    del request["fill"]
    with_acid = request["products"]

    assert possible.smallest_miss(request) < TOO_CLOSE_TO_TELL
    request["products"] = [product for product in with_acid if product["substance"] != "sodium_bisulfate"]
    assert possible.smallest_miss(request) > 5 * TOO_CLOSE_TO_TELL
