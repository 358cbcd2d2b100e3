"""Where the guideline in force asks for more visits than the agreements owe: said, never invented."""

from collections.abc import Sequence
from datetime import date, timedelta

from service.chemistry.guidelines.duties import DrainInterval
from service.rounds.models import Agreement
from service.rounds.notes import Note
from service.rounds.owed_facts import Facts
from service.rounds.owed_spa import Promise, named
from service.rounds.roster import DAYS_IN_WEEK
from service.rounds.stays import changeovers, merged
from service.rounds.words import say_day
from service.sites.models import Spa


def guideline_note(
    facts: Facts, agreements: Sequence[Agreement], promised: Sequence[Promise], monday: date
) -> list[Note]:
    """At most one note: a drain duty of the set asks for more than the week owes and has had.

    Of a spa whose agreements are all out of season in the week nothing is said.
    """
    spa = agreements[0].spa
    week = [monday + timedelta(number) for number in range(DAYS_IN_WEEK)]
    if not any(agreement.covers(day) for agreement in agreements for day in week):
        return []
    served = sum(visit.served and visit.day in week for visit in facts.visits.get(spa.pk, ()))
    visits = served + sum(len(promise.choices[0]) for promise in promised)
    for rule in facts.drain_rules.get(spa.pk, ()):
        if why := _asked_more(facts, spa, rule, visits, week):
            mark = f" {rule.citation.mark}." if rule.citation.mark else ""
            return [Note(spa, f"{named(spa)}: {why} {rule.citation.source}.{mark}")]
    return []


def _asked_more(facts: Facts, spa: Spa, rule: DrainInterval, visits: int, week: Sequence[date]) -> str:
    if rule.max_days > DAYS_IN_WEEK:
        return _drain_due(facts, spa, rule, visits, week[-1])
    groups = _groups_leaving(facts, spa, week) if rule.between_groups else 0
    asked = max(groups, -(-DAYS_IN_WEEK // rule.max_days))
    if visits >= asked:
        return ""
    between = " and between groups of guests" if rule.between_groups else ""
    return (
        f"the guideline asks for a drain and refill every {rule.max_days} days at the latest{between}: "
        f"{asked} in this week, while {_in_words(visits)} owed or done."
    )


def _drain_due(facts: Facts, spa: Spa, rule: DrainInterval, visits: int, sunday: date) -> str:
    drained = facts.drained.get(spa.pk)
    if visits or drained is None:
        return ""
    due = drained + timedelta(rule.max_days)
    if due > sunday:
        return ""
    return (
        f"the guideline asks for a drain and refill every {rule.max_days} days; it is due on "
        f"{say_day(due)}, while no visit is owed this week."
    )


def _groups_leaving(facts: Facts, spa: Spa, week: Sequence[date]) -> int:
    """Changes of group in the week: somebody leaves, and others are booked after them."""
    changes = changeovers(merged(facts.stays.get(spa.pk, ())))
    return sum(change.arrives is not None and change.leaves.date() in week for change in changes)


def _in_words(visits: int) -> str:
    return {0: "no visit is", 1: "1 visit is"}.get(visits, f"{visits} visits are")
