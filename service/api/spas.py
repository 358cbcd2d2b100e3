"""Spas at the sites."""

from typing import ClassVar
from uuid import UUID

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Person
from accounts.roles import Action
from service.api.archiving import archiving
from service.api.asking import EDIT, SEE, InUse, named, of_state, only
from service.api.changes import changed_since
from service.api.once import once
from service.api.strict import ChangedQuery, Given, Shown
from service.api.view import ApiView
from service.sites.models import Spa
from service.sites.register import add_spa, change_spa
from service.sites.visible import visible_sites, visible_spas

SEALED_BELOW = ("site__access_code", "site__access_notes")


class SpaShown(Shown):
    only_for: ClassVar = {"notes": Action.SEE_FIRM}
    site = serializers.UUIDField(source="site_id", read_only=True)
    client = serializers.UUIDField(source="site.client_id", read_only=True)
    notes = serializers.CharField(allow_null=True, read_only=True)
    forbidden_substances = serializers.ListField(child=serializers.CharField(), read_only=True)
    guideline_in_force = serializers.CharField(read_only=True)

    class Meta:
        model = Spa
        fields = (
            "id", "client", "site", "name", "reference", "volume_l", "volume_basis", "shell", "sanitiser",
            "setting", "feeder", "set_temperature_c", "heater_kw", "fill_l_per_minute", "filtration",
            "ozone_or_uv", "cover", "bather_capacity", "commissioned_on", "forbidden_substances",
            "warranty_note", "notes", "guideline_id", "guideline_in_force", "archived_at",
        )  # fmt: skip
        read_only_fields = fields


class SpaGiven(Given, serializers.ModelSerializer[Spa]):
    forbidden_substances = serializers.ListField(
        child=serializers.CharField(max_length=60),
        max_length=40,
        required=False,
        help_text="Substances that the maker excludes, by their id in the chemistry.",
    )

    class Meta:
        model = Spa
        fields: ClassVar[tuple[str, ...]] = (
            "name", "reference", "volume_l", "volume_basis", "shell", "sanitiser", "setting", "feeder",
            "set_temperature_c", "heater_kw", "fill_l_per_minute", "filtration", "ozone_or_uv", "cover",
            "bather_capacity", "commissioned_on", "forbidden_substances", "warranty_note", "notes",
        )  # fmt: skip


class NewSpa(SpaGiven):
    site = serializers.UUIDField()

    class Meta(SpaGiven.Meta):
        fields = ("site", *SpaGiven.Meta.fields)


class SpaQuery(ChangedQuery):
    state = InUse()
    client = serializers.UUIDField(required=False, help_text="Only spas of this client.")
    site = serializers.UUIDField(required=False, help_text="Only spas at this site.")


class Spas(ApiView):
    actions: ClassVar = {"GET": SEE, "POST": EDIT}
    query = SpaQuery

    @extend_schema(operation_id="list_spas", parameters=[SpaQuery], responses=SpaShown(many=True))
    def get(self, request: Request) -> Response:
        used = of_state(self.asked, "archived_at", "site__archived_at", "site__client__archived_at")
        rows = spas_of(self.person).filter(used, **only(self.asked, client="site__client", site="site"))
        return self.page(changed_since(rows, self.asked.get("changed_since")), SpaShown)

    @extend_schema(operation_id="add_spa", request=NewSpa, responses={201: SpaShown})
    @once
    def post(self, request: Request) -> Response:
        given = self.body(NewSpa)
        sites = visible_sites(self.person).select_related("client")
        site = named(sites, "site", given.pop("site"))
        spa = add_spa(site=site, by=self.person, **given)
        return self.made(SpaShown, spas_of(self.person).get(pk=spa.pk), "api:spa")


class OneSpa(ApiView):
    actions: ClassVar = {"GET": SEE, "PATCH": EDIT}

    @extend_schema(operation_id="read_spa", responses=SpaShown)
    def get(self, request: Request, pk: UUID) -> Response:
        return Response(self.shown(SpaShown, spa_of(self.person, pk)))

    @extend_schema(operation_id="change_spa", request=SpaGiven, responses=SpaShown)
    @once
    def patch(self, request: Request, pk: UUID) -> Response:
        spa, given = spa_of(self.person, pk), self.body(SpaGiven, partial=True)
        change_spa(spa=spa, by=self.person, **given)
        return Response(self.shown(SpaShown, spa_of(self.person, pk)))


def spas_of(person: Person) -> QuerySet[Spa]:
    return visible_spas(person).select_related("site__client", "organisation").defer(*SEALED_BELOW)


def spa_of(person: Person, pk: UUID) -> Spa:
    return get_object_or_404(spas_of(person), pk=pk)


ArchiveSpa, RestoreSpa = archiving("spa", SpaShown, spa_of)
