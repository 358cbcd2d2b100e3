from django.urls import path

from service.runs import views

app_name = "runs"
urlpatterns = [
    path("<uuid:pk>/", views.run, name="run"),
    path("<uuid:pk>/cancel/", views.cancel, name="cancel"),
]
