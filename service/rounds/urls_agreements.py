"""Addresses of agreements, bookings and the roster."""

from django.urls import URLPattern, URLResolver, path

from service.rounds import views_agreements as agreements
from service.rounds import views_bookings as bookings
from service.rounds import views_drives as drives
from service.rounds import views_roster as roster

urlpatterns: list[URLPattern | URLResolver] = [
    path("agreements/", agreements.agreements, name="agreements"),
    path("spas/<uuid:pk>/agreements/new/", agreements.agreement_new, name="agreement_new"),
    path("agreements/<uuid:pk>/", agreements.agreement_edit, name="agreement_edit"),
    path("agreements/<uuid:pk>/end/", agreements.agreement_end, name="agreement_end"),
    path("settings/", agreements.settings, name="settings"),
    path("driving-times/", drives.driving_times, name="driving_times"),
    path("driving-times/factor/", drives.factor, name="factor"),
    path("driving-times/new/", drives.drive_new, name="drive_new"),
    path("driving-times/<uuid:pk>/remove/", drives.drive_remove, name="drive_remove"),
    path("skills/", agreements.skills, name="skills"),
    path("calendars/", bookings.calendars, name="calendars"),
    path("sites/<uuid:pk>/calendars/new/", bookings.calendar_new, name="calendar_new"),
    path("calendars/<uuid:pk>/", bookings.calendar, name="calendar"),
    path("calendars/<uuid:pk>/edit/", bookings.calendar_edit, name="calendar_edit"),
    path("calendars/<uuid:pk>/fetch/", bookings.calendar_fetch, name="calendar_fetch"),
    path("calendars/<uuid:pk>/upload/", bookings.calendar_upload, name="calendar_upload"),
    path("calendars/<uuid:pk>/archive/", bookings.calendar_archive, name="calendar_archive"),
    path("calendars/<uuid:pk>/restore/", bookings.calendar_restore, name="calendar_restore"),
    path("sites/<uuid:pk>/bookings/", bookings.bookings, name="bookings"),
    path("sites/<uuid:pk>/bookings/new/", bookings.booking_new, name="booking_new"),
    path("bookings/<uuid:pk>/", bookings.booking_edit, name="booking_edit"),
    path("bookings/<uuid:pk>/cancel/", bookings.booking_cancel, name="booking_cancel"),
    path("roster/", roster.roster, name="roster"),
    path("roster/<uuid:pk>/", roster.shifts, name="shifts"),
    path("roster/days/<uuid:pk>/", roster.shift_day, name="shift_day"),
    path("roster/days-off/new/", roster.day_off_new, name="day_off_new"),
    path("roster/days-off/<uuid:pk>/remove/", roster.day_off_remove, name="day_off_remove"),
]
