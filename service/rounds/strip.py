"""The next weeks of some agreements as a strip: how many visits each week owes, or on which days."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from accounts.models import Organisation
from service.rounds.models import Agreement
from service.rounds.notes import Note
from service.rounds.owed_facts import load_facts
from service.rounds.owed_spa import Promise, promises_of
from service.rounds.roster import DAYS_IN_WEEK

WEEKS = 4


@dataclass(frozen=True)
class Cell:
    """What one agreement owes in one week, in a word or two; "" for nothing."""

    monday: date
    words: str


@dataclass(frozen=True)
class Strip:
    """cells: agreement key -> one cell a week. notes: each once, in the order of the weeks."""

    mondays: tuple[date, ...]
    cells: dict[UUID, list[Cell]]
    notes: list[Note]


def strip_of(organisation: Organisation, agreements: Iterable[Agreement], today: date) -> Strip:
    """The strip of these agreements from the week of ``today`` on. At most seven queries."""
    shown = {agreement.pk: agreement for agreement in agreements}
    mondays = tuple(
        today - timedelta(today.weekday()) + timedelta(number * DAYS_IN_WEEK) for number in range(WEEKS)
    )
    if not shown:
        return Strip(mondays, {}, [])
    spas = {agreement.spa_id for agreement in shown.values()}
    last = mondays[-1] + timedelta(DAYS_IN_WEEK - 1)
    facts = load_facts(organisation, mondays[0] - timedelta(DAYS_IN_WEEK), last, spas=spas, with_people=False)
    by_spa: dict[UUID, list[Agreement]] = defaultdict(list)
    for agreement in facts.agreements:
        by_spa[agreement.spa_id].append(agreement)
    cells: dict[UUID, list[Cell]] = {key: [] for key in shown}
    notes: dict[str, Note] = {}
    for monday in mondays:
        owed: dict[UUID, list[Promise]] = defaultdict(list)
        for of_spa in by_spa.values():
            promises, said = promises_of(facts, of_spa, monday)
            notes |= {note.text: note for note in said}
            for promise in promises:
                owed[promise.agreement.pk].append(promise)
        for key in shown:
            cells[key].append(Cell(monday, _words(owed.get(key, []))))
    return Strip(mondays, cells, list(notes.values()))


def _words(promises: Sequence[Promise]) -> str:
    days = [promise.changeover for promise in promises if promise.changeover]
    if days:
        return ", ".join(f"{day:%a} {day.day}" for day in days)
    visits = sum(len(promise.choices[0]) for promise in promises)
    return {0: "", 1: "1 visit"}.get(visits, f"{visits} visits")
