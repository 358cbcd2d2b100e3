"""Sites of clients."""

from typing import ClassVar
from uuid import UUID

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Person
from service.api.archiving import archiving
from service.api.asking import EDIT, SEE, InUse, named, of_state, only
from service.api.changes import changed_since
from service.api.once import once
from service.api.strict import ChangedQuery, Given, Shown
from service.api.view import ApiView
from service.sites.models import Site
from service.sites.register import add_site, change_site
from service.sites.visible import visible_clients, visible_sites

SEALED = ("access_code", "access_notes")


@extend_schema_field({"type": "object", "additionalProperties": {"type": ["number", "string", "null"]}})
class Readings(serializers.JSONField):
    """Readings by parameter, as the chemistry names them."""


class SiteShown(Shown):
    """A site. How to get in is not part of it: gate and key-safe codes never leave through the API."""

    client = serializers.UUIDField(source="client_id", read_only=True)
    supply_water = Readings(read_only=True)

    class Meta:
        model = Site
        fields = (
            "id", "client", "name", "reference", "address", "latitude", "longitude", "parking", "breaker",
            "tap", "contact_name", "contact_phone", "guideline_id", "supply_water",
            "supply_water_tested_on", "archived_at",
        )  # fmt: skip
        read_only_fields = fields


class SiteGiven(Given, serializers.ModelSerializer[Site]):
    class Meta:
        model = Site
        fields: ClassVar[tuple[str, ...]] = (
            "name", "reference", "address", "latitude", "longitude", "parking", "breaker", "tap",
            "contact_name", "contact_phone",
        )  # fmt: skip


class NewSite(SiteGiven):
    client = serializers.UUIDField()

    class Meta(SiteGiven.Meta):
        fields = ("client", *SiteGiven.Meta.fields)


class SiteQuery(ChangedQuery):
    state = InUse()
    client = serializers.UUIDField(required=False, help_text="Only sites of this client.")


class Sites(ApiView):
    actions: ClassVar = {"GET": SEE, "POST": EDIT}
    query = SiteQuery

    @extend_schema(operation_id="list_sites", parameters=[SiteQuery], responses=SiteShown(many=True))
    def get(self, request: Request) -> Response:
        rows = visible_sites(self.person).filter(
            of_state(self.asked, "archived_at", "client__archived_at"), **only(self.asked, client="client")
        )
        rows = changed_since(rows, self.asked.get("changed_since"))
        return self.page(rows.defer(*SEALED), SiteShown)

    @extend_schema(operation_id="add_site", request=NewSite, responses={201: SiteShown})
    @once
    def post(self, request: Request) -> Response:
        given = self.body(NewSite)
        client = named(visible_clients(self.person), "client", given.pop("client"))
        site = add_site(client=client, by=self.person, **given)
        return self.made(SiteShown, site, "api:site")


class OneSite(ApiView):
    actions: ClassVar = {"GET": SEE, "PATCH": EDIT}

    @extend_schema(operation_id="read_site", responses=SiteShown)
    def get(self, request: Request, pk: UUID) -> Response:
        return Response(self.shown(SiteShown, site_of(self.person, pk)))

    @extend_schema(operation_id="change_site", request=SiteGiven, responses=SiteShown)
    @once
    def patch(self, request: Request, pk: UUID) -> Response:
        site, given = site_of(self.person, pk), self.body(SiteGiven, partial=True)
        return Response(self.shown(SiteShown, change_site(site=site, by=self.person, **given)))


def site_of(person: Person, pk: UUID) -> Site:
    return get_object_or_404(visible_sites(person).defer(*SEALED), pk=pk)


ArchiveSite, RestoreSite = archiving("site", SiteShown, site_of)
