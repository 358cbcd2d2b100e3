"""Addresses: lists from elsewhere: clients, sites, spas, agreements and past readings, in and out."""

from django.urls import path

from service.importing import views

app_name = "importing"
urlpatterns = [
    path("", views.lists, name="lists"),
    path("columns/", views.columns, name="columns"),
    path("template/<str:kind>/<str:form>/", views.template, name="template"),
    path("export/<str:kind>/<str:form>/", views.export, name="export"),
    path("<uuid:pk>/", views.listing, name="list"),
    path("<uuid:pk>/read-again/", views.again, name="read_again"),
    path("<uuid:pk>/confirm/", views.confirm, name="confirm"),
    path("<uuid:pk>/drop/", views.drop, name="drop"),
    path("<uuid:pk>/take-back/", views.back, name="take_back"),
]
