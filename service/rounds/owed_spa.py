"""What the agreements of one spa promise in one week. Reads facts only, no database."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from service.rounds.day_sets import DayChoices, DaySet, Spacing, day_choices
from service.rounds.models import Agreement, Frequency
from service.rounds.models.agreements import times_a_week_in_words
from service.rounds.notes import Note
from service.rounds.owed_facts import Facts, PastVisit
from service.rounds.public_holidays import public_holidays
from service.rounds.roster import DAYS_IN_WEEK, is_off
from service.rounds.stays import Changeover, Starts, Stay, changeovers, merged, overlaps, starts_on
from service.rounds.words import say_day, say_list
from service.sites.models import Spa

CHANGEOVER_DAYS = 7
MOST_CHANGEOVER_DAYS = 14
"""A changeover is served before the next guests come, within two weeks; within one when nobody is
booked. Own choice, no source."""


@dataclass(frozen=True)
class Promise:
    """Visits that one agreement owes in the week. changeover: the day the guests leave, if it is one."""

    agreement: Agreement
    why: str
    choices: tuple[DaySet, ...]
    starts: Mapping[date, Sequence[Starts]]
    changeover: date | None
    changeover_days: frozenset[date]


@dataclass(frozen=True)
class _Week:
    """The week as one spa sees it."""

    facts: Facts
    spa: Spa
    monday: date
    stays: Sequence[Stay]
    changes: Sequence[Changeover]
    visits: Sequence[PastVisit]

    @property
    def days(self) -> list[date]:
        return [self.monday + timedelta(number) for number in range(DAYS_IN_WEEK)]

    @property
    def sunday(self) -> date:
        return self.monday + timedelta(DAYS_IN_WEEK - 1)

    def served(self) -> list[date]:
        return [
            visit.day for visit in self.visits if visit.served and self.monday <= visit.day <= self.sunday
        ]

    def last_before(self) -> date | None:
        """The last visit before the week. Further ahead than the next week only the week before tells."""
        last = max((visit.day for visit in self.visits if visit.day < self.monday), default=None)
        this_week = self.facts.today - timedelta(self.facts.today.weekday())
        is_near = self.monday <= this_week + timedelta(DAYS_IN_WEEK)
        is_recent = last is not None and last >= self.monday - timedelta(DAYS_IN_WEEK)
        return last if is_near or is_recent else None


def promises_of(
    facts: Facts, agreements: Sequence[Agreement], monday: date
) -> tuple[list[Promise], list[Note]]:
    """What the agreements of one spa owe, changeovers first, and what of it cannot be."""
    spa = agreements[0].spa
    booked = facts.stays.get(spa.pk, ())
    apart = merged(booked)
    week = _Week(facts, spa, monday, apart, changeovers(apart), facts.visits.get(spa.pk, ()))
    notes = _overlap_notes(week, booked)
    served = week.served()
    promises: list[Promise] = []
    for agreement in agreements:
        if agreement.frequency == Frequency.CHANGEOVER:
            found, said = _at_changeovers(week, agreement, served)
            promises += found
            notes += said
    certain = [promise.choices[0][0] for promise in promises if len(promise.choices) == 1]
    for agreement in agreements:
        if agreement.frequency != Frequency.CHANGEOVER:
            found, said = _regular(week, agreement, served, certain)
            promises += found
            notes += said
    return promises, notes


def _regular(
    week: _Week, agreement: Agreement, served: list[date], certain: Sequence[date]
) -> tuple[list[Promise], list[Note]]:
    """A promise by the calendar. Takes the visits that serve it out of ``served``."""
    count = _count(week, agreement)
    if not count:
        return [], []
    taken, served[:] = served[:count], served[count:]
    left = count - len(taken)
    if not left:
        return [], []
    free, closed = _free_days(week, agreement)
    spacing = Spacing(
        least=agreement.min_days_between or 1,
        most=agreement.max_days_between,
        before=week.last_before(),
        after=_first_after(week, agreement),
        fixed=tuple(sorted({*taken, *certain})),
    )
    return _settled(week, agreement, left, free, closed, spacing)


def _settled(
    week: _Week,
    agreement: Agreement,
    left: int,
    free: Mapping[date, Sequence[Starts]],
    closed: Mapping[date, str],
    spacing: Spacing,
) -> tuple[list[Promise], list[Note]]:
    """As many visits as the days that are left allow."""
    fits, chosen = _most_that_fit(free, left, spacing)
    notes = []
    if fits < left:
        notes.append(_short(week, agreement, fits, left, closed, spacing))
    elif chosen.late:
        notes += _too_late(week, agreement, spacing, chosen.sets[0][0])
    if not fits:
        return [], notes
    changed = frozenset(day for day in free if any(_is_between(day, change) for change in week.changes))
    promise = Promise(agreement, agreement.how_often, chosen.sets, free, None, changed)
    return [_narrowed(promise)], notes


def _most_that_fit(days: Iterable[date], count: int, spacing: Spacing) -> tuple[int, DayChoices]:
    for fewer in range(count, 0, -1):
        chosen = day_choices(days, fewer, spacing)
        if chosen.sets:
            return fewer, chosen
    return 0, DayChoices(())


def _narrowed(promise: Promise) -> Promise:
    offered = {day for chosen in promise.choices for day in chosen}
    return replace(promise, changeover_days=promise.changeover_days & offered)


def _count(week: _Week, agreement: Agreement) -> int:
    """Visits that the agreement promises in the week, before any day is taken away."""
    allowed = [day for day in week.days if day.weekday() in agreement.weekdays]
    covered = [day for day in allowed if agreement.covers(day)]
    if not covered:
        return 0
    if agreement.frequency == Frequency.TIMES_A_WEEK:
        # A week that begins or ends inside it, or its season, owes its share, rounded up.
        return -(-(agreement.times_a_week or 1) * len(covered) // len(allowed))
    return int(_is_its_week(week, agreement))


def _is_its_week(week: _Week, agreement: Agreement) -> bool:
    """Every n weeks, counted from that of its first day; a week that was missed is made good."""
    every = agreement.every_weeks or 1
    ahead = min((day - agreement.starts_on.weekday()) % DAYS_IN_WEEK for day in agreement.weekdays)
    first = agreement.starts_on + timedelta(ahead)
    start = first - timedelta(first.weekday())
    number = (week.monday - start).days // DAYS_IN_WEEK
    if number < 0:
        return False
    its_week = week.monday - timedelta(number % every * DAYS_IN_WEEK)
    if its_week == week.monday:
        return True
    return _was_missed(week, agreement, its_week)


def _was_missed(week: _Week, agreement: Agreement, its_week: date) -> bool:
    """Whether this is the week running now, or the next, and the one it was due in went by without."""
    today = week.facts.today
    this_week = today - timedelta(today.weekday())
    if week.monday not in (this_week, this_week + timedelta(DAYS_IN_WEEK)):
        return False
    days = [its_week + timedelta(day) for day in agreement.weekdays]
    due = [day for day in days if agreement.covers(day)]
    is_over = bool(due) and due[-1] < today
    return is_over and not any(its_week <= visit.day < week.monday for visit in week.visits)


def _first_after(week: _Week, agreement: Agreement) -> date | None:
    """The first day of the next week that the agreement allows, where it owes a visit every week."""
    if agreement.frequency != Frequency.TIMES_A_WEEK:
        return None
    coming = (week.sunday + timedelta(1 + day) for day in agreement.weekdays)
    return next((day for day in coming if agreement.covers(day)), None)


def _free_days(
    week: _Week, agreement: Agreement, days: Iterable[date] | None = None
) -> tuple[dict[date, Sequence[Starts]], dict[date, str]]:
    """Allowed days with the times at which a visit may start, and the others with the reason."""
    free: dict[date, Sequence[Starts]] = {}
    closed: dict[date, str] = {}
    for day in week.days if days is None else days:
        if day.weekday() not in agreement.weekdays or not agreement.covers(day):
            continue
        if why := _why_closed(week, agreement, day):
            closed[day] = why
            continue
        starts = _starts(week, agreement, day)
        if starts:
            free[day] = starts
        else:
            closed[day] = _why_no_time(week, agreement, day)
    return free, closed


def _why_closed(week: _Week, agreement: Agreement, day: date) -> str:
    facts = week.facts
    if week.monday <= facts.today <= week.sunday and day < facts.today:
        return "over"
    if is_off(facts.closed, None, day):
        return "the firm is closed"
    if agreement.avoid_public_holidays:
        return public_holidays(facts.settings.country, facts.settings.subdivision, day.year).get(day, "")
    return ""


def _starts(week: _Week, agreement: Agreement, day: date) -> list[Starts]:
    stays_out = agreement.frequency == Frequency.CHANGEOVER or not agreement.while_guests_stay
    apart = week.stays if stays_out else ()
    return starts_on(
        day,
        apart,
        minutes=agreement.minutes_on_site,
        opens=agreement.window_from,
        closes=agreement.window_to,
    )


def _why_no_time(week: _Week, agreement: Agreement, day: date) -> str:
    if any(change.leaves.date() == day for change in week.changes):
        return f"less than {agreement.minutes_on_site} minutes between the guests"
    return "guests stay"


def _at_changeovers(
    week: _Week, agreement: Agreement, served: list[date]
) -> tuple[list[Promise], list[Note]]:
    """One promise for each group that leaves and is not served yet."""
    promises, notes = [], []
    for change in week.changes:
        days = _between(change)
        if not _belongs_here(week, agreement, change, days):
            continue
        if _take(week, served, days):
            continue
        why = f"Changeover on {say_day(change.leaves.date())}"
        free, closed = _free_days(week, agreement, days)
        free = {day: starts for day, starts in free.items() if week.monday <= day <= week.sunday}
        if free:
            sets = tuple((day,) for day in sorted(free))
            promises.append(Promise(agreement, why, sets, free, change.leaves.date(), frozenset(free)))
        else:
            notes.append(Note(week.spa, f"{named(week.spa)}, {why}: left out, {_reasons(closed)}."))
    return promises, notes


def _between(change: Changeover) -> list[date]:
    """Days from the one on which guests leave to the one on which others come."""
    first = change.leaves.date()
    most = CHANGEOVER_DAYS if change.arrives is None else MOST_CHANGEOVER_DAYS
    days = [first + timedelta(number) for number in range(most)]
    return [day for day in days if change.arrives is None or day <= change.arrives.date()]


def _belongs_here(week: _Week, agreement: Agreement, change: Changeover, days: Sequence[date]) -> bool:
    """A changeover is owed in the week of its first day that serves, else in that of the leaving.

    Days of the week that runs now which are over do not serve, so that one missed on a Sunday is
    owed in the week after.
    """
    if not agreement.covers(change.leaves.date()):
        return False
    free, _ = _free_days(week, agreement, days)
    belongs = min(free, default=days[0])
    return week.monday <= belongs <= week.sunday


def _take(week: _Week, served: list[date], days: Sequence[date]) -> bool:
    """Whether a visit on one of the days serves; if it lies in this week, it serves nothing else."""
    for day in served:
        if day in days:
            served.remove(day)
            return True
    return any(visit.served and visit.day in days and visit.day < week.monday for visit in week.visits)


def _is_between(day: date, change: Changeover) -> bool:
    return day in _between(change)


def _short(
    week: _Week,
    agreement: Agreement,
    fits: int,
    left: int,
    closed: Mapping[date, str],
    spacing: Spacing,
) -> Note:
    name = f"{named(week.spa)}, {agreement.how_often.lower()}"
    reasons = _reasons(closed)
    if fits:
        many = times_a_week_in_words(fits).split(" a week")[0].lower()
        return Note(week.spa, f"{name}: only {many} in this week, {reasons}.")
    if spacing.fixed:
        visits = say_list([say_day(day) for day in spacing.fixed])
        return Note(week.spa, f"{name}: no day is left beside the visit on {visits}.")
    return Note(week.spa, f"{name}: left out, no allowed day is left; {reasons}.")


def _reasons(closed: Mapping[date, str]) -> str:
    if not closed:
        return "the days between visits leave no more"
    return say_list([f"{day:%A}: {why}" for day, why in sorted(closed.items())])


def _too_late(week: _Week, agreement: Agreement, spacing: Spacing, first: date) -> list[Note]:
    before, most = spacing.before, agreement.max_days_between
    if before is None or most is None or (first - before).days <= most:
        return []
    text = (
        f"{named(week.spa)}: last visited on {say_day(before)}; at most {most} days are agreed "
        "and cannot be kept. The earliest days are taken."
    )
    return [Note(week.spa, text)]


def _overlap_notes(week: _Week, booked: Sequence[Stay]) -> list[Note]:
    return [
        Note(
            week.spa,
            f"{named(week.spa)}: two bookings overlap, one until {say_day(first.leaves.date())} and one "
            f"from {say_day(second.arrives.date())}. They are taken as one stay.",
        )
        for first, second in overlaps(booked)
        if week.monday <= second.arrives.date() <= week.sunday
    ]


def named(spa: Spa) -> str:
    """A spa as a note says it; needs its site loaded."""
    return f"{spa.name} at {spa.site.name}"
