"""Addresses: what needs a person: attention, search over everything, changes in bulk, setting up."""

from django.urls import URLPattern, URLResolver

app_name = "office"
urlpatterns: list[URLPattern | URLResolver] = []
