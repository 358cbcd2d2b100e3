"""Addresses: the same use cases for other programs."""

from django.urls import URLPattern, URLResolver

app_name = "api"
urlpatterns: list[URLPattern | URLResolver] = []
