"""Addresses: what needs a person: attention, search over everything, changes in bulk, setting up, files."""

from django.urls import path

from service.office import (
    views_attention,
    views_bulk,
    views_records_file,
    views_setting_up,
    views_trail,
)

app_name = "office"
urlpatterns = [
    path("", views_attention.attention_page, name="attention"),
    path("setting-up/", views_setting_up.setting_up, name="setting_up"),
    path("audit-trail.csv", views_trail.trail_file, name="trail_file"),
    path("records.csv", views_records_file.records_file, name="records_file"),
    path("change/<str:kind>/", views_bulk.change, name="change"),
]
