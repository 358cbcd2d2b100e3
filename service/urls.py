"""Every address."""

from django.urls import include, path

from service.office.views_search import search
from service.shell import views as shell
from service.sites.urls import urlpatterns as pages_of_sites

# The search reaches over every room; its address stands with those of the first it searched.
sites = ([path("search/", search, name="search"), *pages_of_sites], "sites")

urlpatterns = [
    path("", shell.home, name="home"),
    path("healthz", shell.health, name="health"),
    path("account/", include("accounts.sign_in_urls")),
    path("people/", include("accounts.urls")),
    path("runs/", include("service.runs.urls")),
    path("", include(sites)),
    path("stock/", include("service.stock.urls")),
    path("visits/", include("service.visits.urls")),
    path("rounds/", include("service.rounds.urls")),
    path("lists/", include("service.importing.urls")),
    path("office/", include("service.office.urls")),
    path("api/v1/", include("service.api.urls")),
    path("reports/", include("reports.urls")),
]
