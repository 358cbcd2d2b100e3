"""Addresses: agreements, changeovers, the week plan and its rounds."""

from django.urls import URLPattern, URLResolver

app_name = "rounds"
urlpatterns: list[URLPattern | URLResolver] = []
