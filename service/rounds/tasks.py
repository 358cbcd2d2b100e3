"""Background work of this room."""

from service.rounds.fetch_calendars import fetch_all_calendars, fetch_calendar

__all__ = ["fetch_all_calendars", "fetch_calendar"]
