"""Signed records: the canonical content with its digest, the amendments, and the PDF."""

from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.http import content_disposition_header
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Person
from accounts.roles import Action
from reports.downloads import ask_for_copy, copy_for, file_name, standing_of
from service.api.asking import SEE, only
from service.api.once import once
from service.api.paging import Order
from service.api.strict import Nothing, PageQuery, PersonShown, Shown
from service.api.view import ApiView
from service.visits.models import Amendment, Record, Verdict
from service.visits.visible import visible_records

DOWNLOAD = (Action.DOWNLOAD_RECORDS,)
NEWEST_SIGNED = Order("signed_at", backwards=True)
HEAVY = ("content", "canonical")
ABOVE = ("organisation", "visit__organisation", "visit__spa__site", "signed_by")
SEALED = ("visit__spa__site__access_code", "visit__spa__site__access_notes")


class PdfRenderer(JSONRenderer):
    """Lets a program ask for a PDF; what is not a PDF is still told in JSON."""

    media_type = "application/pdf"
    format = "pdf"


class RecordLine(Shown):
    """A record without its content."""

    only_for: ClassVar = {"signed_by": Action.SEE_STAFF_NAMES}
    visit = serializers.UUIDField(source="visit_id", read_only=True)
    spa = serializers.UUIDField(source="visit.spa_id", read_only=True)
    site = serializers.UUIDField(source="visit.spa.site_id", read_only=True)
    client = serializers.UUIDField(source="visit.spa.site.client_id", read_only=True)
    verdict = serializers.ChoiceField(Verdict.choices, source="visit.verdict", read_only=True)
    signed_by = PersonShown(read_only=True, allow_null=True)
    pdf = serializers.SerializerMethodField()

    class Meta:
        model = Record
        fields: ClassVar[tuple[str, ...]] = (
            "id", "visit", "spa", "site", "client", "verdict", "signed_at", "signed_by", "digest",
            "sequence", "previous_digest", "pdf",
        )  # fmt: skip
        read_only_fields = fields

    def get_pdf(self, record: Record) -> str:
        return reverse("api:record_pdf", args=[record.pk])


@extend_schema_field(OpenApiTypes.OBJECT)
class Content(serializers.JSONField):
    """The content of a record, with names as salted commitments."""


class AmendmentShown(Shown):
    only_for: ClassVar = {"made_by": Action.SEE_STAFF_NAMES}
    made_by = PersonShown(read_only=True, allow_null=True)

    class Meta:
        model = Amendment
        fields = ("id", "corrects", "was", "becomes", "reason", "made_at", "made_by")
        read_only_fields = fields


class RecordShown(RecordLine):
    """A record: ``digest`` is the SHA-256 of ``canonical`` in UTF-8."""

    content = Content(read_only=True)
    canonical = serializers.CharField(read_only=True)
    amendments = AmendmentShown(many=True, read_only=True)

    class Meta(RecordLine.Meta):
        fields = (*RecordLine.Meta.fields, "content", "canonical", "amendments")
        read_only_fields = fields


class RecordQuery(PageQuery):
    client = serializers.UUIDField(required=False, help_text="Only records of this client.")
    site = serializers.UUIDField(required=False, help_text="Only records of this site.")
    spa = serializers.UUIDField(required=False, help_text="Only records of this spa.")
    from_day = serializers.DateField(required=False, help_text="Signed on this day (UTC) or later.")
    to_day = serializers.DateField(required=False, help_text="Signed on this day (UTC) or earlier.")


class Records(ApiView):
    actions: ClassVar = {"GET": SEE}
    query = RecordQuery

    @extend_schema(operation_id="list_records", parameters=[RecordQuery], responses=RecordLine(many=True))
    def get(self, request: Request) -> Response:
        asked = only(
            self.asked,
            client="visit__spa__site__client",
            site="visit__spa__site",
            spa="visit__spa",
            from_day="signed_at__date__gte",
            to_day="signed_at__date__lte",
        )
        rows = visible_records(self.person).filter(**asked).select_related(*ABOVE).defer(*HEAVY, *SEALED)
        return self.page(rows, RecordLine, order=NEWEST_SIGNED)


class OneRecord(ApiView):
    actions: ClassVar = {"GET": SEE}

    @extend_schema(operation_id="read_record", responses=RecordShown)
    def get(self, request: Request, pk: UUID) -> Response:
        rows = visible_records(self.person).select_related(*ABOVE).defer(*SEALED)
        row = get_object_or_404(rows.prefetch_related("amendments__made_by"), pk=pk)
        return Response(self.shown(RecordShown, row))


class PdfStanding(serializers.Serializer[Any]):
    state = serializers.ChoiceField(["ready", "being_made"], read_only=True)
    pdf = serializers.CharField(read_only=True)


class PdfOfRecord(ApiView):
    actions: ClassVar = {"GET": DOWNLOAD, "POST": DOWNLOAD}
    renderer_classes = [JSONRenderer, PdfRenderer]

    @extend_schema(operation_id="download_record", responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request: Request, pk: UUID) -> HttpResponse | Response:
        """The PDF of a record. While it is not made yet there is nothing here: ask for it with POST."""
        record = _record(self.person, pk)
        copy = copy_for(self.person, record)
        file = standing_of(record, copy).file
        if file is None:
            raise NotFound("The PDF is not made yet. POST here to have it made.")
        with file.file.open("rb") as kept:
            answer = HttpResponse(kept.read(), content_type=PdfRenderer.media_type)
        disposition = content_disposition_header(as_attachment=True, filename=file_name(record, copy))
        answer["Content-Disposition"] = disposition or "attachment"
        return answer

    @extend_schema(operation_id="make_record_pdf", request=Nothing, responses={202: PdfStanding})
    @once
    def post(self, request: Request, pk: UUID) -> Response:
        """Have the PDF made, unless it is there already or under way."""
        record = _record(self.person, pk)
        self.body(Nothing)
        is_there = standing_of(record, copy_for(self.person, record)).file is not None
        if not is_there:
            ask_for_copy(record=record, by=self.person)
        url = reverse("api:record_pdf", args=[record.pk])
        standing = {"state": "ready" if is_there else "being_made", "pdf": url}
        return Response(standing, status=202, headers={"Location": url})


def _record(person: Person, pk: UUID) -> Record:
    rows = visible_records(person).select_related(*ABOVE).defer(*HEAVY, *SEALED)
    return get_object_or_404(rows, pk=pk)
