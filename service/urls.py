"""Every address."""

from django.urls import include, path

from service.shell import views as shell

urlpatterns = [
    path("", shell.home, name="home"),
    path("healthz", shell.health, name="health"),
    path("account/", include("accounts.sign_in_urls")),
    path("people/", include("accounts.urls")),
    path("runs/", include("service.runs.urls")),
    path("", include("service.sites.urls")),
    path("stock/", include("service.stock.urls")),
    path("visits/", include("service.visits.urls")),
    path("reports/", include("reports.urls")),
]
