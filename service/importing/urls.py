"""Addresses: lists from elsewhere: clients, sites, spas, agreements and past readings, in and out."""

from django.urls import URLPattern, URLResolver

app_name = "importing"
urlpatterns: list[URLPattern | URLResolver] = []
