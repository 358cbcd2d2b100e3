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
    path("rounds/", include("service.rounds.urls")),
    path("lists/", include("service.importing.urls")),
    path("office/", include("service.office.urls")),
    path("api/v1/", include("service.api.urls")),
    path("reports/", include("reports.urls")),
]
