"""Fetching feeds in the background: when asked by hand, and every few hours."""

from datetime import timedelta

from celery import shared_task
from django.db.models import Q
from django.utils import timezone
from django_scopes import scope, scopes_disabled

from accounts.models import Organisation
from service.rounds.bookings import FETCH_TASK, fetch_run, take_calendar
from service.rounds.fetch_feed import FeedFailed, fetch
from service.rounds.models import ChangeoverCalendar
from service.rounds.read_calendar import NotACalendar
from service.runs.models import Run
from service.runs.work import RunFailed, background, step

HOURS_BETWEEN = 3
MOST_AT_ONCE = 500


def take_feed(run: Run) -> None:
    """Fetch one feed and take its bookings. What goes wrong is kept with the calendar, for its page."""
    calendar = (
        ChangeoverCalendar.objects.filter(pk=run.arguments["calendar"], archived_at=None)
        .select_related("organisation")
        .first()
    )
    if calendar is None or not calendar.feed_url:
        raise RunFailed("The calendar is no longer in use.")
    step(run, done=0, total=1, doing="Fetching the calendar")
    tried = ChangeoverCalendar.objects.filter(pk=calendar.pk)
    try:
        found = fetch(calendar.feed_url, etag=calendar.etag)
        if found.data is None:
            tried.update(tried_at=timezone.now(), fetched_at=timezone.now(), error="")
        else:
            take_calendar(calendar, found.data, by=None, etag=found.etag)
    except (FeedFailed, NotACalendar) as refused:
        tried.update(tried_at=timezone.now(), error=str(refused)[:400])
        raise RunFailed(str(refused)) from refused


fetch_calendar = background(FETCH_TASK)(take_feed)


@shared_task(name="rounds.fetch_all_calendars")
def fetch_all_calendars() -> None:
    """Ask for every feed that was not tried for some hours. The longest ago first."""
    with scopes_disabled():
        organisations = list(Organisation.objects.order_by("pk"))
    for organisation in organisations:
        with scope(organisation=organisation):
            _ask_stale(organisation)


def _ask_stale(organisation: Organisation) -> None:
    stale = timezone.now() - timedelta(hours=HOURS_BETWEEN)
    due = (
        ChangeoverCalendar.objects.filter(organisation=organisation, archived_at=None)
        .exclude(feed_url="")
        .filter(Q(tried_at=None) | Q(tried_at__lt=stale))
    )
    for calendar in due.select_related("organisation").order_by("tried_at", "pk")[:MOST_AT_ONCE]:
        fetch_run(calendar, by=None)
