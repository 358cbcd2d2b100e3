"""Published weeks: which round everybody drives, with its stops and times. Planning stays with people."""

from typing import ClassVar
from uuid import UUID

from django.db.models import Prefetch, QuerySet
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Person
from accounts.roles import Action
from service.api.asking import only
from service.api.paging import Order
from service.api.strict import PageQuery, PersonShown, Shown
from service.api.view import ApiView
from service.api.visits import ClockTime
from service.rounds.models import PlannedRound, PlannedVisit, PlanState, WeekPlan
from service.rounds.visible import visible_plans

SEE = (Action.SEE_FIRM,)
NEWEST_FIRST = Order("monday", backwards=True)
BY_DAY = Order("day")


class WeekShown(Shown):
    class Meta:
        model = WeekPlan
        fields = ("id", "monday", "published_at", "revision", "travel_source", "travel_honesty")
        read_only_fields = fields


class StopShown(Shown):
    """A stop: one visit of the round. ``visit`` is its row, once it is on somebody's day."""

    spa = serializers.UUIDField(source="spa_id", read_only=True)
    site = serializers.UUIDField(source="spa.site_id", read_only=True)
    client = serializers.UUIDField(source="spa.site.client_id", read_only=True)
    visit = serializers.UUIDField(source="visit_id", read_only=True, allow_null=True)
    window_from = ClockTime(read_only=True, allow_null=True)
    window_to = ClockTime(read_only=True, allow_null=True)

    class Meta:
        model = PlannedVisit
        fields = (
            "client", "site", "spa", "visit", "sequence", "arrive_at", "start_at", "leave_at",
            "drive_seconds", "drive_metres", "service_minutes", "window_from", "window_to", "changeover",
        )  # fmt: skip
        read_only_fields = fields


class RoundShown(Shown):
    technician = PersonShown(read_only=True)
    stops = StopShown(many=True, read_only=True)

    class Meta:
        model = PlannedRound
        fields = (
            "id", "day", "technician", "start_name", "end_name", "depart_at", "back_at",
            "back_drive_seconds", "back_drive_metres", "overtime_seconds", "pause_from", "pause_to", "stops",
        )  # fmt: skip
        read_only_fields = fields


class WeekQuery(PageQuery):
    monday = serializers.DateField(required=False, help_text="Only the week that begins on this day.")


class RoundQuery(PageQuery):
    day = serializers.DateField(required=False, help_text="Only rounds of this day.")
    technician = serializers.UUIDField(required=False, help_text="Only rounds of this person.")


class Weeks(ApiView):
    actions: ClassVar = {"GET": SEE}
    query = WeekQuery

    @extend_schema(operation_id="list_weeks", parameters=[WeekQuery], responses=WeekShown(many=True))
    def get(self, request: Request) -> Response:
        rows = weeks_of(self.person).filter(**only(self.asked, monday="monday"))
        return self.page(rows, WeekShown, order=NEWEST_FIRST)


class RoundsOfWeek(ApiView):
    actions: ClassVar = {"GET": SEE}
    query = RoundQuery

    @extend_schema(
        operation_id="list_rounds_of_week", parameters=[RoundQuery], responses=RoundShown(many=True)
    )
    def get(self, request: Request, pk: UUID) -> Response:
        plan = get_object_or_404(weeks_of(self.person), pk=pk)
        stops = PlannedVisit.objects.select_related("spa__site").order_by("sequence", "key")
        sealed = ("spa__site__access_code", "spa__site__access_notes")
        rows = PlannedRound.objects.filter(plan=plan, **only(self.asked, day="day", technician="technician"))
        rows = rows.select_related("technician").prefetch_related(Prefetch("stops", stops.defer(*sealed)))
        return self.page(rows, RoundShown, order=BY_DAY)


def weeks_of(person: Person) -> QuerySet[WeekPlan]:
    return visible_plans(person).filter(state=PlanState.PUBLISHED)
