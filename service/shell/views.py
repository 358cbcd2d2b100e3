"""The way in, and the answer to "are you there"."""

from django.contrib.auth.decorators import login_not_required
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from accounts.access import signed_in
from service.office.setting_up import is_to_be_set_up
from service.shell.navigation import places_for


def home(request: HttpRequest) -> HttpResponse:
    """Send each person to the page they work from."""
    person = signed_in(request)
    places = places_for(person)
    if not places:
        return render(request, "shell/no_role.html")
    if is_to_be_set_up(by=person):
        return redirect("office:setting_up")
    return redirect(places[0].url_name)


@login_not_required
def health(request: HttpRequest) -> HttpResponse:
    """Touches the database; says nothing else, because anybody may ask."""
    connection.ensure_connection()
    return HttpResponse("ok", content_type="text/plain")
