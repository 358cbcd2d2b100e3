"""Addresses: agreements, changeovers, the week plan and its rounds."""

from django.urls import URLPattern, URLResolver, path

from service.rounds import urls_agreements, urls_week, views_map

app_name = "rounds"
urlpatterns: list[URLPattern | URLResolver] = [
    *urls_agreements.urlpatterns,
    *urls_week.urlpatterns,
    path("roads/<slug:name>.svg", views_map.roads_drawing_file, name="roads_drawing"),
]
