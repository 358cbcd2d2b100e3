"""Random tiny weeks for the exact comparison: technicians that differ, windows, optional visits."""

import itertools
import random
from typing import Any

from .weeks import HOUR, shift, technician, visit, week

Json = dict[str, Any]


BREAKS = [
    {"from": 11 * HOUR, "to": 14 * HOUR, "duration": HOUR // 2},
    {"from": 12 * HOUR, "to": 13 * HOUR, "duration": HOUR},
    {"from": 12 * HOUR, "to": 13 * HOUR, "duration": HOUR // 2},
]


def tiny_week(seed: int, *, breaks: bool = False) -> Json:
    """Up to six visits, three days, two technicians; the same for a seed every time."""
    rng = random.Random(seed)
    days = rng.randint(2, 3)
    points = [(rng.randint(0, 40), rng.randint(0, 40)) for _ in range(rng.randint(4, 7))]
    rest = rng.choice(BREAKS) if breaks else None
    people = [_technician(rng, f"t{i}", days, len(points), rest) for i in range(2)]
    visits = [_visit(rng, i, days, len(points)) for i in range(rng.randint(4, 6))]
    prices = rng.choice([{"distance": 1}, {"distance": 1, "duration": 2, "vehicle_day": 5000}])
    return week(days, points, people, visits, prices=prices)


def _technician(rng: random.Random, name: str, days: int, places: int, rest: Json | None) -> Json:
    longest = rng.choice([None, 6 * HOUR])
    return technician(
        name,
        days,
        start=f"p{rng.randrange(places)}",
        end=f"p{rng.randrange(places)}",
        capacity=rng.choice([None, 3]),
        skills=rng.choice([["electrics"], []]) if name == "t1" else ["electrics"],
        shifts=[shift(day, max_duration=longest, **{"break": rest}) for day in range(days)],
    )


def _visit(rng: random.Random, number: int, days: int, places: int) -> Json:
    subsets = [list(c) for n in (1, 2) for c in itertools.combinations(range(days), n)]
    optional = rng.random() < 0.3
    opens = rng.randint(8, 14) * HOUR
    windows = [{"day": None, "from": opens, "to": opens + 2 * HOUR}] if rng.random() < 0.5 else []
    return visit(
        f"v{number}",
        f"p{rng.randrange(places)}",
        rng.sample(subsets, rng.randint(1, len(subsets))),
        needs=["electrics"] if rng.random() < 0.2 else [],
        windows=windows,
        optional=optional,
        drop_penalty=rng.randint(500, 20_000) if optional else None,
        service=rng.randint(1, 4) * HOUR // 2,
    )
