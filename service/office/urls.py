"""Addresses: what needs a person: attention, search over everything, changes in bulk, setting up."""

from django.urls import path

from service.office import views_attention

app_name = "office"
urlpatterns = [
    path("", views_attention.attention_page, name="attention"),
]
