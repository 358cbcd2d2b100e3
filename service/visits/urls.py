"""Addresses of visits: the technician's pages and the office's."""

from service.visits.urls_office import office_urls
from service.visits.urls_technician import technician_urls

app_name = "visits"
urlpatterns = [*technician_urls, *office_urls]
