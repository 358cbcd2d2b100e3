"""Every page takes the number of queries that is written down, at most twelve, whatever the rows.

``UPDATE_QUERY_COUNTS=1 pytest tests/budgets -n 0`` writes the numbers anew (a minute).
"""

import json
import os
from pathlib import Path
from typing import Any

import pytest

from accounts.roles import Role
from tests.budgets.counting import Counted, walk
from tests.budgets.world import busy_world

FILE = Path(__file__).parent / "query_counts.json"
UPDATE = "UPDATE_QUERY_COUNTS=1 python -m pytest tests/budgets -n 0"
MOST = 12
# Page -> why it may take more, in words.
_WHOLE_VISIT = (
    "The work of a visit stands on one page: each of ten tables below and beside the visit is read once, "
    "and another set than the firm's of the tests may ask for up to three more counts of the spa's past."
)
MAY_TAKE_MORE: dict[str, str] = {
    f"{role} GET visits:visit": _WHOLE_VISIT for role in ("owner", "office", "technician")
}
HOW_TO_THINK = f"""
Fewer is welcome: write it down.
More: is the new statement one for the whole page (then it may be right), or one for each row, or the
same one asked again? Load rows with select_related or prefetch_related where the view asks for them.
Then write the numbers anew:  {UPDATE}"""


def written() -> dict[str, int]:
    return dict(json.loads(FILE.read_text())) if FILE.exists() else {}


@pytest.mark.parametrize("role", Role)
def test_every_page_takes_the_queries_that_are_written_down(role: Role, db: Any) -> None:
    counted = list(walk(busy_world("Alderbrook Spa Care", times=1), role))
    if os.environ.get("UPDATE_QUERY_COUNTS"):
        _write_down(role, counted)

    wrong = _differing(role, counted)

    assert not wrong, "\n\n".join([*wrong, HOW_TO_THINK])


@pytest.mark.parametrize("role", Role)
def test_three_times_the_rows_take_the_same_queries(role: Role, db: Any) -> None:
    counted = list(walk(busy_world("Alderbrook Spa Care", times=3), role))

    wrong = _differing(role, counted)

    assert not wrong, "\n\n".join([*wrong, "With three times the rows. A list asks once, whatever its rows."])


def test_no_page_takes_more_than_twelve() -> None:
    above = {name: number for name, number in written().items() if number > MOST}

    assert sorted(above) == sorted(MAY_TAKE_MORE), above


def _differing(role: Role, counted: list[Counted]) -> list[str]:
    """What to say of each page whose number is not the one written down."""
    numbers = _of_role(role)
    told = []
    for page in counted:
        if page.name not in numbers:
            told.append(f"{page.name} is new: {page.number} queries. Write it down:  {UPDATE}")
        elif page.number != numbers[page.name]:
            said = f"{page.name}: {page.number} queries, {numbers[page.name]} are written down."
            told.append("\n".join([said, *(f"  {at}. {sql}" for at, sql in enumerate(page.statements, 1))]))
    gone = numbers.keys() - {page.name for page in counted}
    return [*told, *(f"{name} is written down, but does not open." for name in sorted(gone))]


def _of_role(role: Role) -> dict[str, int]:
    return {name: number for name, number in written().items() if name.startswith(f"{role.value} ")}


def _write_down(role: Role, counted: list[Counted]) -> None:
    others = {name: number for name, number in written().items() if name not in _of_role(role)}
    numbers = others | {page.name: page.number for page in counted}
    FILE.write_text(json.dumps(numbers, indent=1, sort_keys=True) + "\n")
