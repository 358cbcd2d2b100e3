"""The roads that every map of a round is drawn over."""

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.cache import patch_cache_control
from django.views.decorators.http import require_safe

from accounts.access import page_for
from accounts.roles import Action
from service.rounds.road_map import roads_drawing, roads_name
from service.rounds.travel import roads_of_this_machine


@page_for(Action.SEE_FIRM)
@require_safe
def roads_drawing_file(request: HttpRequest, name: str) -> HttpResponse:
    """The drawing, under a name that changes with the roads, so that it is fetched once. 404 for others."""
    roads = roads_of_this_machine()
    if name != roads_name(roads):
        raise Http404
    response = HttpResponse(roads_drawing(roads).read_bytes(), content_type="image/svg+xml")
    patch_cache_control(response, private=True, max_age=365 * 86_400, immutable=True)
    return response
