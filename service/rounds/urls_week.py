"""Addresses of the week: its list, its grid, its drafts, its maps."""

from django.urls import URLPattern, URLResolver, path

from service.rounds import views_moves as moves
from service.rounds import views_replan as replan
from service.rounds import views_round_map as maps
from service.rounds import views_week as week

urlpatterns: list[URLPattern | URLResolver] = [
    path("week/", week.week, name="week"),
    path("week/<str:monday>/", week.week_of, name="week_of"),
    path("week/<str:monday>/build/", week.build, name="week_build"),
    path("week/<str:monday>/progress/", week.progress, name="week_progress"),
    path("week/<str:monday>/stop/", week.stop, name="week_stop"),
    path("plans/<uuid:pk>/", week.plan, name="plan"),
    path("plans/<uuid:pk>/compare/", week.plan_compare, name="plan_compare"),
    path("plans/<uuid:pk>/publish/", week.publish, name="plan_publish"),
    path("plans/<uuid:pk>/unpublish/", week.unpublish, name="plan_unpublish"),
    path("plans/<uuid:pk>/set-aside/", week.set_aside, name="plan_set_aside"),
    path("plans/<uuid:pk>/take-up/", week.take_up, name="plan_take_up"),
    path("plans/<uuid:pk>/grid/", moves.grid, name="grid"),
    path("plans/<uuid:pk>/off/", replan.off, name="off"),
    path("plans/<uuid:pk>/urgent/", replan.urgent, name="urgent"),
    path("plans/<uuid:pk>/days/<str:day>/map/", maps.day_map, name="day_map"),
    path("planned-rounds/<uuid:pk>/map/", maps.round_map, name="round_map"),
    path("planned-visits/<uuid:pk>/move/", moves.move, name="move"),
    path("planned-visits/<uuid:pk>/pin/", moves.set_pin, name="pin"),
    path("planned-visits/<uuid:pk>/take-off/", moves.take_off, name="take_off"),
]
