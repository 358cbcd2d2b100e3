from django.urls import path

from reports.views import downloads, notices, tubs

app_name = "reports"
urlpatterns = [
    path("tubs/", tubs.my_tubs, name="my_tubs"),
    path("tubs/<uuid:pk>/", tubs.my_tub, name="my_tub"),
    path("repairs/<uuid:pk>/answer/", tubs.answer, name="answer"),
    path("records/<uuid:pk>/", downloads.download, name="download"),
    path("records/<uuid:pk>/make/", downloads.make, name="make"),
    path("records/<uuid:pk>/edition/<int:number>/", downloads.edition, name="edition"),
    path("closures/<uuid:pk>/notice/", notices.notice, name="notice"),
    path("closures/<uuid:pk>/notice.pdf", notices.notice_file, name="notice_file"),
]
