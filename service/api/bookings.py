"""When guests stay: bookings that a program enters, and those that a calendar brought."""

from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Person
from accounts.roles import Action
from service.api.asking import named, only
from service.api.once import once
from service.api.paging import Order
from service.api.spas import spas_of
from service.api.strict import Given, Nothing, PageQuery, Shown
from service.api.view import ApiView
from service.rounds.bookings import add_booking, cancel_booking, change_booking
from service.rounds.models import Booking
from service.rounds.visible import visible_bookings
from service.sites.visible import visible_sites

PLAN = (Action.PLAN_VISITS,)
BY_ARRIVAL = Order("arrives_at")


class BookingShown(Shown):
    client = serializers.UUIDField(source="site.client_id", read_only=True)
    site = serializers.UUIDField(source="site_id", read_only=True)
    spa = serializers.UUIDField(source="spa_id", read_only=True, allow_null=True)
    calendar = serializers.UUIDField(source="calendar_id", read_only=True, allow_null=True)

    class Meta:
        model = Booking
        fields = (
            "id", "client", "site", "spa", "calendar", "arrives_at", "leaves_at", "guests", "reference",
            "cancelled_at",
        )  # fmt: skip
        read_only_fields = fields


class BookingGiven(Given):
    """Who the guests are is not asked, and must not stand in the reference."""

    spa = serializers.UUIDField(
        required=False, allow_null=True, help_text="Only this spa; null: every spa of the site."
    )
    arrives_at = serializers.DateTimeField()
    leaves_at = serializers.DateTimeField()
    guests = serializers.IntegerField(required=False, allow_null=True, min_value=0, max_value=200)
    reference = serializers.CharField(required=False, allow_blank=True, max_length=80)


class NewBooking(BookingGiven):
    site = serializers.UUIDField()


class BookingQuery(PageQuery):
    client = serializers.UUIDField(required=False, help_text="Only bookings at this client's sites.")
    site = serializers.UUIDField(required=False, help_text="Only bookings at this site.")
    leaving_from = serializers.DateTimeField(
        required=False, help_text="Guests leave at this moment or later."
    )
    arriving_to = serializers.DateTimeField(required=False, help_text="Guests arrive then or earlier.")


class Bookings(ApiView):
    actions: ClassVar = {"GET": PLAN, "POST": PLAN}
    query = BookingQuery

    @extend_schema(operation_id="list_bookings", parameters=[BookingQuery], responses=BookingShown(many=True))
    def get(self, request: Request) -> Response:
        asked = only(
            self.asked,
            client="site__client",
            site="site",
            leaving_from="leaves_at__gte",
            arriving_to="arrives_at__lte",
        )
        return self.page(bookings_of(self.person).filter(**asked), BookingShown, order=BY_ARRIVAL)

    @extend_schema(operation_id="add_booking", request=NewBooking, responses={201: BookingShown})
    @once
    def post(self, request: Request) -> Response:
        given = self.body(NewBooking)
        sites = visible_sites(self.person).select_related("client").defer("access_code", "access_notes")
        site = named(sites, "site", given.pop("site"))
        booking = add_booking(site=site, by=self.person, **_fields(self.person, given))
        return self.made(BookingShown, booking, "api:booking")


class OneBooking(ApiView):
    actions: ClassVar = {"GET": PLAN, "PATCH": PLAN}

    @extend_schema(operation_id="read_booking", responses=BookingShown)
    def get(self, request: Request, pk: UUID) -> Response:
        return Response(self.shown(BookingShown, booking_of(self.person, pk)))

    @extend_schema(operation_id="change_booking", request=BookingGiven, responses=BookingShown)
    @once
    def patch(self, request: Request, pk: UUID) -> Response:
        booking = booking_of(self.person, pk)
        given = self.body(BookingGiven, partial=True)
        change_booking(booking=booking, by=self.person, **_fields(self.person, given))
        return Response(self.shown(BookingShown, booking_of(self.person, pk)))


class CancelBooking(ApiView):
    actions: ClassVar = {"POST": PLAN}

    @extend_schema(operation_id="cancel_booking", request=Nothing, responses=BookingShown)
    @once
    def post(self, request: Request, pk: UUID) -> Response:
        booking = booking_of(self.person, pk)
        self.body(Nothing)
        cancel_booking(booking=booking, by=self.person)
        return Response(self.shown(BookingShown, booking_of(self.person, pk)))


def bookings_of(person: Person) -> QuerySet[Booking]:
    sealed = ("site__access_code", "site__access_notes")
    return visible_bookings(person).select_related("site").defer(*sealed)


def booking_of(person: Person, pk: UUID) -> Booking:
    return get_object_or_404(bookings_of(person), pk=pk)


def _fields(person: Person, given: dict[str, Any]) -> dict[str, Any]:
    if given.get("spa"):
        given["spa"] = named(spas_of(person), "spa", given["spa"])
    return given
