"""Sets of days, against a plain count of every subset, and as properties."""

from datetime import date, timedelta
from itertools import combinations, pairwise

from hypothesis import given
from hypothesis import strategies as st

from service.rounds.day_sets import Spacing, day_choices

MONDAY = date(2027, 6, 7)
WEEK = [MONDAY + timedelta(number) for number in range(7)]
DAYS = st.sets(st.sampled_from(WEEK), max_size=7)
SPACINGS = st.builds(
    Spacing,
    least=st.integers(1, 5),
    most=st.none() | st.integers(1, 10),
    before=st.none() | st.sampled_from([MONDAY - timedelta(days) for days in range(1, 12)]),
    after=st.none() | st.sampled_from([MONDAY + timedelta(7 + days) for days in range(7)]),
)


def _days(*weekdays):
    return [WEEK[day] for day in weekdays]


@given(DAYS, st.integers(1, 7), SPACINGS)
def test_every_set_has_the_asked_size_on_allowed_days_and_keeps_the_spacing(days, count, spacing):
    chosen = day_choices(days, count, spacing)
    assert len(set(chosen.sets)) == len(chosen.sets)
    for days_of_set in chosen.sets:
        assert len(days_of_set) == count
        assert list(days_of_set) == sorted(set(days_of_set))
        assert set(days_of_set) <= days
        visits = [spacing.before, *days_of_set] if spacing.before else list(days_of_set)
        assert all((later - earlier).days >= spacing.least for earlier, later in pairwise(visits))
        if spacing.most and not chosen.late:
            around = [*visits, spacing.after] if spacing.after else visits
            assert all((later - earlier).days <= spacing.most for earlier, later in pairwise(around))


@given(DAYS, st.integers(1, 7), st.integers(1, 5))
def test_no_set_that_keeps_the_spacing_is_forgotten(days, count, least):
    expected = {
        chosen
        for chosen in combinations(sorted(days), count)
        if all((b - a).days >= least for a in chosen for b in chosen if b > a)
    }
    assert set(day_choices(days, count, Spacing(least=least)).sets) == expected


def test_twice_a_week_at_least_two_days_apart_on_working_days_has_six_sets():
    # Counted by hand: Mon-Wed, Mon-Thu, Mon-Fri, Tue-Thu, Tue-Fri, Wed-Fri.
    sets = day_choices(_days(0, 1, 2, 3, 4), 2, Spacing(least=2)).sets
    assert sets == (
        tuple(_days(0, 2)),
        tuple(_days(0, 3)),
        tuple(_days(0, 4)),
        tuple(_days(1, 3)),
        tuple(_days(1, 4)),
        tuple(_days(2, 4)),
    )


def test_a_visit_on_saturday_keeps_the_next_off_monday_when_three_days_are_agreed():
    saturday = MONDAY - timedelta(2)
    assert day_choices(_days(0, 1, 2), 1, Spacing(least=3, before=saturday)).sets == (
        tuple(_days(1)),
        tuple(_days(2)),
    )


def test_a_set_that_leaves_too_long_a_gap_to_the_next_week_is_not_offered():
    next_monday = MONDAY + timedelta(7)
    sets = day_choices(_days(0, 1, 3, 4), 2, Spacing(least=2, most=4, after=next_monday)).sets
    assert sets == (tuple(_days(0, 3)), tuple(_days(0, 4)), tuple(_days(1, 3)), tuple(_days(1, 4)))
    assert day_choices(_days(0, 1), 2, Spacing(most=4, after=next_monday)).late


def test_a_spa_not_visited_for_too_long_is_visited_on_the_earliest_day_and_said_to_be_late():
    long_ago = MONDAY - timedelta(11)
    chosen = day_choices(_days(1, 2, 3), 1, Spacing(most=7, before=long_ago))
    assert (chosen.sets, chosen.late) == ((tuple(_days(1)),), True)


def test_days_that_are_visited_anyway_are_kept_clear_of():
    sets = day_choices(_days(0, 1, 2, 3, 4), 1, Spacing(least=2, fixed=(WEEK[2],))).sets
    assert sets == (tuple(_days(0)), tuple(_days(4)))
