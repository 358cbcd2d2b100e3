"""Clients."""

from typing import ClassVar
from uuid import UUID

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Person
from accounts.roles import Action
from service.api.archiving import archiving
from service.api.asking import EDIT, SEE, InUse, of_state
from service.api.changes import changed_since
from service.api.once import once
from service.api.strict import ChangedQuery, Given, Shown
from service.api.view import ApiView
from service.sites.models import Client
from service.sites.register import add_client, change_client
from service.sites.visible import visible_clients


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


def client_of(person: Person, pk: UUID) -> Client:
    return get_object_or_404(visible_clients(person), pk=pk)


ArchiveClient, RestoreClient = archiving("client", ClientShown, client_of)
