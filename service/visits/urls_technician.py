"""Addresses of the technician's pages."""

from django.urls import path

from service.visits import (
    views_photos,
    views_sign,
    views_today,
    views_visit,
    views_water,
    views_work,
)

technician_urls = [
    path("today/", views_today.today, name="today"),
    path("stops/<uuid:pk>/<str:day>/", views_today.stop, name="stop"),
    path("spas/<uuid:pk>/call-out/", views_today.call_out, name="call_out"),
    path("<uuid:pk>/", views_visit.visit, name="visit"),
    path("<uuid:pk>/start/", views_visit.visit_start, name="visit_start"),
    path("<uuid:pk>/end/", views_visit.visit_end, name="visit_end"),
    path("<uuid:pk>/hand-over/", views_visit.visit_hand_over, name="visit_hand_over"),
    path("<uuid:pk>/draft/", views_visit.visit_draft, name="visit_draft"),
    path("<uuid:pk>/inspection/", views_water.visit_inspection, name="visit_inspection"),
    path("<uuid:pk>/readings/<str:moment>/", views_water.visit_readings, name="visit_readings"),
    path("<uuid:pk>/withdraw/<str:moment>/", views_water.visit_withdraw, name="visit_withdraw"),
    path("<uuid:pk>/governs/<uuid:reading_pk>/", views_water.visit_governs, name="visit_governs"),
    path("<uuid:pk>/decide/<str:moment>/", views_water.visit_decide, name="visit_decide"),
    path("<uuid:pk>/steps/<uuid:step_pk>/", views_work.visit_step, name="visit_step"),
    path("<uuid:pk>/own-dose/", views_work.visit_own_dose, name="visit_own_dose"),
    path("<uuid:pk>/tasks/<slug:kind>/", views_work.visit_task, name="visit_task"),
    path("<uuid:pk>/photos/", views_photos.visit_photo, name="visit_photo"),
    path("<uuid:pk>/photos/<uuid:photo_pk>.jpg", views_photos.photo_file, name="photo_file"),
    path(
        "<uuid:pk>/photos/<uuid:photo_pk>/remove/",
        views_photos.visit_photo_remove,
        name="visit_photo_remove",
    ),
    path("<uuid:pk>/close/", views_sign.visit_close, name="visit_close"),
    path("<uuid:pk>/sign/", views_sign.visit_sign, name="visit_sign"),
]
