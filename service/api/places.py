"""Clients, their sites, the spas at them, and whether people may use a spa now."""

from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Person
from accounts.roles import Action
from service.api.changes import changed_since
from service.api.once import once
from service.api.paging import BY_KEY, page_of
from service.api.strict import ChangedQuery, Given, Nothing, PageQuery, Shown
from service.api.view import ApiView, listed
from service.sites.archive import archive, restore
from service.sites.listing import in_state
from service.sites.models import Client, Site, Spa
from service.sites.register import add_client, add_site, add_spa, change_client, change_site, change_spa
from service.sites.visible import visible_clients, visible_sites, visible_spas
from service.visits.fitness import fitness_of, fitness_of_spas

SEE = (Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
EDIT = (Action.EDIT_SITES,)
SEALED = ("access_code", "access_notes")
SEALED_BELOW = ("site__access_code", "site__access_notes")
NOT_HERE = "There is no such {} for this token."


class InUse(serializers.ChoiceField):
    """Rows in use, archived ones, or all."""

    def __init__(self) -> None:
        super().__init__(["in_use", "archived", "all"], default="all", help_text="Which rows.")


def of_state(given: dict[str, Any], *archived: str) -> Any:
    return in_state({"in_use": ""}.get(given["state"], given["state"]), archived)


class ClientShown(Shown):
    only_for: ClassVar = {"notes": Action.SEE_FIRM}
    email = serializers.CharField(read_only=True)
    notes = serializers.CharField(allow_null=True, read_only=True)

    class Meta:
        model = Client
        fields = (
            "id", "name", "reference", "kind", "contact_name", "email", "phone", "notes",
            "guideline_id", "archived_at",
        )  # fmt: skip
        read_only_fields = fields


class ClientGiven(Given, serializers.ModelSerializer[Client]):
    class Meta:
        model = Client
        fields = ("name", "reference", "kind", "contact_name", "email", "phone", "notes")


class ClientQuery(ChangedQuery):
    state = InUse()


class Clients(ApiView):
    actions: ClassVar = {"GET": SEE, "POST": EDIT}
    query = ClientQuery

    @extend_schema(operation_id="list_clients", parameters=[ClientQuery], responses=ClientShown(many=True))
    def get(self, request: Request) -> Response:
        rows = visible_clients(self.person).filter(of_state(self.asked, "archived_at"))
        return self.page(changed_since(rows, self.asked.get("changed_since")), ClientShown)

    @extend_schema(operation_id="add_client", request=ClientGiven, responses={201: ClientShown})
    @once
    def post(self, request: Request) -> Response:
        client = add_client(by=self.person, **self.body(ClientGiven))
        return self.made(ClientShown, client, "api:client")


class OneClient(ApiView):
    actions: ClassVar = {"GET": SEE, "PATCH": EDIT}

    @extend_schema(operation_id="read_client", responses=ClientShown)
    def get(self, request: Request, pk: UUID) -> Response:
        return Response(self.shown(ClientShown, client_of(self.person, pk)))

    @extend_schema(operation_id="change_client", request=ClientGiven, responses=ClientShown)
    @once
    def patch(self, request: Request, pk: UUID) -> Response:
        client, given = client_of(self.person, pk), self.body(ClientGiven, partial=True)
        return Response(self.shown(ClientShown, change_client(client=client, by=self.person, **given)))


class ArchiveClient(ApiView):
    actions: ClassVar = {"POST": EDIT}

    @extend_schema(operation_id="archive_client", request=Nothing, responses=ClientShown)
    @once
    def post(self, request: Request, pk: UUID) -> Response:
        client = client_of(self.person, pk)
        self.body(Nothing)
        archive(place=client, by=self.person)
        return Response(self.shown(ClientShown, client_of(self.person, pk)))


class RestoreClient(ApiView):
    actions: ClassVar = {"POST": EDIT}

    @extend_schema(operation_id="restore_client", request=Nothing, responses=ClientShown)
    @once
    def post(self, request: Request, pk: UUID) -> Response:
        client = client_of(self.person, pk)
        self.body(Nothing)
        restore(place=client, by=self.person)
        return Response(self.shown(ClientShown, client_of(self.person, pk)))


def client_of(person: Person, pk: UUID) -> Client:
    return get_object_or_404(visible_clients(person), pk=pk)


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


class ArchiveSite(ApiView):
    actions: ClassVar = {"POST": EDIT}

    @extend_schema(operation_id="archive_site", request=Nothing, responses=SiteShown)
    @once
    def post(self, request: Request, pk: UUID) -> Response:
        site = site_of(self.person, pk)
        self.body(Nothing)
        archive(place=site, by=self.person)
        return Response(self.shown(SiteShown, site_of(self.person, pk)))


class RestoreSite(ApiView):
    actions: ClassVar = {"POST": EDIT}

    @extend_schema(operation_id="restore_site", request=Nothing, responses=SiteShown)
    @once
    def post(self, request: Request, pk: UUID) -> Response:
        site = site_of(self.person, pk)
        self.body(Nothing)
        restore(place=site, by=self.person)
        return Response(self.shown(SiteShown, site_of(self.person, pk)))


def site_of(person: Person, pk: UUID) -> Site:
    return get_object_or_404(visible_sites(person).defer(*SEALED), pk=pk)


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


class ArchiveSpa(ApiView):
    actions: ClassVar = {"POST": EDIT}

    @extend_schema(operation_id="archive_spa", request=Nothing, responses=SpaShown)
    @once
    def post(self, request: Request, pk: UUID) -> Response:
        spa = spa_of(self.person, pk)
        self.body(Nothing)
        archive(place=spa, by=self.person)
        return Response(self.shown(SpaShown, spa_of(self.person, pk)))


class RestoreSpa(ApiView):
    actions: ClassVar = {"POST": EDIT}

    @extend_schema(operation_id="restore_spa", request=Nothing, responses=SpaShown)
    @once
    def post(self, request: Request, pk: UUID) -> Response:
        spa = spa_of(self.person, pk)
        self.body(Nothing)
        restore(place=spa, by=self.person)
        return Response(self.shown(SpaShown, spa_of(self.person, pk)))


def spas_of(person: Person) -> QuerySet[Spa]:
    return visible_spas(person).select_related("site__client", "organisation").defer(*SEALED_BELOW)


def spa_of(person: Person, pk: UUID) -> Spa:
    return get_object_or_404(spas_of(person), pk=pk)


class FitnessShown(serializers.Serializer[Any]):
    """Whether people may use a spa, as of a moment. Only the state "fit" lets people in."""

    spa = serializers.UUIDField(source="of", read_only=True)
    at = serializers.DateTimeField(read_only=True)
    state = serializers.ChoiceField(["fit", "fit_from", "closed", "retest", "not_tested"], read_only=True)
    lets_people_in = serializers.BooleanField(read_only=True)
    word = serializers.CharField(read_only=True)
    sentence = serializers.CharField(read_only=True)
    since = serializers.DateTimeField(read_only=True, allow_null=True)
    until = serializers.DateTimeField(
        read_only=True,
        allow_null=True,
        help_text="Until when it holds, when it becomes fit, or when the retest is due.",
    )


class FitnessQuery(PageQuery):
    client = serializers.UUIDField(required=False, help_text="Only spas of this client.")
    site = serializers.UUIDField(required=False, help_text="Only spas at this site.")


class FitnessOfSpas(ApiView):
    actions: ClassVar = {"GET": SEE}
    query = FitnessQuery

    @extend_schema(operation_id="list_fitness", parameters=[FitnessQuery], responses=FitnessShown(many=True))
    def get(self, request: Request) -> Response:
        """The fitness of every spa in use, now."""
        used = in_state("", ("archived_at", "site__archived_at", "site__client__archived_at"))
        rows = spas_of(self.person).filter(used, **only(self.asked, client="site__client", site="site"))
        cursor, limit = self.asked.get("cursor", ""), self.asked["limit"]
        found = page_of(rows, order=BY_KEY, cursor=cursor, limit=limit)
        now = timezone.now()
        fitness = fitness_of_spas(found.rows, now)
        items = [_fitness(spa, fitness[spa.pk], now) for spa in found.rows]
        return Response(listed(items, found.next))


class FitnessOfSpa(ApiView):
    actions: ClassVar = {"GET": SEE}

    @extend_schema(operation_id="read_fitness", responses=FitnessShown)
    def get(self, request: Request, pk: UUID) -> Response:
        """The fitness of one spa, now."""
        spa, now = spa_of(self.person, pk), timezone.now()
        return Response(_fitness(spa, fitness_of(spa, now), now))


def _fitness(spa: Spa, fitness: Any, now: Any) -> Any:
    return FitnessShown(
        {
            "of": spa.pk,
            "at": now,
            **{
                name: getattr(fitness, name)
                for name in ("state", "lets_people_in", "word", "sentence", "since", "until")
            },
        }
    ).data


def named(rows: QuerySet[Any], field: str, key: UUID) -> Any:
    """The row that a body names, if the token may see it. Raises ValidationError at the field."""
    row = rows.filter(pk=key).first()
    if row is None:
        raise ValidationError({field: [NOT_HERE.format(rows.model._meta.verbose_name)]})
    return row


def only(given: dict[str, Any], **lookups: str) -> dict[str, Any]:
    """The lookups of those filters that were given."""
    return {lookup: given[name] for name, lookup in lookups.items() if name in given}
