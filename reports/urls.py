from django.urls import path

from reports.views import downloads, notices, round_calendar, round_sheet, tubs

app_name = "reports"
urlpatterns = [
    path("tubs/", tubs.my_tubs, name="my_tubs"),
    path("tubs/<uuid:pk>/", tubs.my_tub, name="my_tub"),
    path("repairs/<uuid:pk>/answer/", tubs.answer, name="answer"),
    path("records/<uuid:pk>/", downloads.download, name="download"),
    path("records/<uuid:pk>/make/", downloads.make, name="make"),
    path("records/<uuid:pk>/edition/<int:number>/", downloads.edition, name="edition"),
    path("rounds/<uuid:pk>/sheet.pdf", round_sheet.sheet, name="round_sheet"),
    path("rounds/calendar/", round_calendar.my_calendar, name="my_calendar"),
    path("rounds/calendar/new/", round_calendar.make, name="my_calendar_make"),
    path("rounds/calendar/end/", round_calendar.revoke, name="my_calendar_revoke"),
    path("rounds/calendar/<uuid:pk>/<str:secret>.ics", round_calendar.calendar, name="calendar"),
    path("closures/<uuid:pk>/notice/", notices.notice, name="notice"),
    path("closures/<uuid:pk>/notice.pdf", notices.notice_file, name="notice_file"),
]
