"""What keeps people out of a spa: closures and defects. They are opened and settled at visits."""

from typing import ClassVar
from uuid import UUID

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.roles import Action
from service.api.asking import SEE, only
from service.api.changes import changed_since
from service.api.paging import Order
from service.api.strict import ChangedQuery, PersonShown, Shown
from service.api.view import ApiView
from service.sites.visible import visible_spas
from service.visits.defects import visible_defects
from service.visits.models import Closure, Defect

NEWEST_CLOSED = Order("closed_at", backwards=True)
NEWEST_FOUND = Order("found_at", backwards=True)


class ClosureShown(Shown):
    only_for: ClassVar = {"closed_by": Action.SEE_STAFF_NAMES, "reopened_by": Action.SEE_STAFF_NAMES}
    spa = serializers.UUIDField(source="spa_id", read_only=True)
    closed_by = PersonShown(read_only=True, allow_null=True)
    reopened_by = PersonShown(read_only=True, allow_null=True)

    class Meta:
        model = Closure
        fields = (
            "id", "spa", "reason", "closed_at", "renewed_at", "closed_by", "reopened_at", "reopened_by",
        )  # fmt: skip
        read_only_fields = fields


class SafetyQuery(ChangedQuery):
    client = serializers.UUIDField(required=False, help_text="Only spas of this client.")
    site = serializers.UUIDField(required=False, help_text="Only spas at this site.")
    spa = serializers.UUIDField(required=False, help_text="Only this spa.")
    open = serializers.BooleanField(required=False, help_text="Only open ones (true) or ended ones (false).")


def _asked(given: dict[str, object], ended: str) -> dict[str, object]:
    asked = only(given, client="spa__site__client", site="spa__site", spa="spa")
    return asked | ({f"{ended}__isnull": given["open"]} if "open" in given else {})


class Closures(ApiView):
    actions: ClassVar = {"GET": SEE}
    query = SafetyQuery

    @extend_schema(operation_id="list_closures", parameters=[SafetyQuery], responses=ClosureShown(many=True))
    def get(self, request: Request) -> Response:
        rows = Closure.objects.filter(spa__in=visible_spas(self.person), **_asked(self.asked, "reopened_at"))
        rows = changed_since(rows, self.asked.get("changed_since"))
        return self.page(rows.select_related("closed_by", "reopened_by"), ClosureShown, order=NEWEST_CLOSED)


class OneClosure(ApiView):
    actions: ClassVar = {"GET": SEE}

    @extend_schema(operation_id="read_closure", responses=ClosureShown)
    def get(self, request: Request, pk: UUID) -> Response:
        rows = Closure.objects.filter(spa__in=visible_spas(self.person))
        row = get_object_or_404(rows.select_related("closed_by", "reopened_by"), pk=pk)
        return Response(self.shown(ClosureShown, row))


class DefectShown(Shown):
    only_for: ClassVar = {"found_by": Action.SEE_STAFF_NAMES, "closed_by": Action.SEE_STAFF_NAMES}
    spa = serializers.UUIDField(source="spa_id", read_only=True)
    visit = serializers.UUIDField(source="visit_id", read_only=True, allow_null=True)
    found_by = PersonShown(read_only=True, allow_null=True)
    closed_by = PersonShown(read_only=True, allow_null=True)

    class Meta:
        model = Defect
        fields = (
            "id", "spa", "visit", "item", "description", "severity", "who_pays", "consent", "due_on",
            "found_at", "found_by", "closed_at", "closed_by", "closing_note",
        )  # fmt: skip
        read_only_fields = fields


class Defects(ApiView):
    actions: ClassVar = {"GET": SEE}
    query = SafetyQuery

    @extend_schema(operation_id="list_defects", parameters=[SafetyQuery], responses=DefectShown(many=True))
    def get(self, request: Request) -> Response:
        rows = visible_defects(self.person).filter(**_asked(self.asked, "closed_at"))
        rows = changed_since(rows, self.asked.get("changed_since"))
        return self.page(rows.select_related("found_by", "closed_by"), DefectShown, order=NEWEST_FOUND)


class OneDefect(ApiView):
    actions: ClassVar = {"GET": SEE}

    @extend_schema(operation_id="read_defect", responses=DefectShown)
    def get(self, request: Request, pk: UUID) -> Response:
        rows = visible_defects(self.person).select_related("found_by", "closed_by")
        return Response(self.shown(DefectShown, get_object_or_404(rows, pk=pk)))
