"""Visits: planned, changed, cancelled, started; what was read at them; what the chemistry says.

Signing is left to people: a signature is the technician's own, at the tub, with a PIN that no program
should hold. Inspection, doses and tasks belong to the same page and stay there.
"""

from datetime import UTC, datetime
from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Person
from accounts.roles import Action
from service.api.asking import SEE, named, only
from service.api.changes import changed_since
from service.api.once import once
from service.api.paging import Order
from service.api.spas import spas_of
from service.api.strict import ChangedQuery, Given, Nothing, PersonShown, Shown
from service.api.view import ApiView, with_revision
from service.stock.models import Instrument, Method
from service.visits.decide import decide
from service.visits.forms_plan import who_carries_out_visits
from service.visits.models import Bound, Decision, Moment, Reading, Verdict, Visit, VisitKind, VisitState
from service.visits.open import start_visit
from service.visits.plan import cancel_visit, change_plan, plan_visit
from service.visits.readings import ReadingInput, record_readings
from service.visits.visible import visible_visits

PLAN = (Action.PLAN_VISITS,)
CARRY_OUT = (Action.CARRY_OUT_VISITS,)
SEE_WORK = (Action.SEE_FIRM,)
BY_DAY = Order("planned_on")
ABOVE = ("spa__site__client", "spa__organisation", "organisation", "technician")
SEALED = ("spa__site__access_code", "spa__site__access_notes")
MOST_READINGS = 40
MOST_DECISIONS = 20
EARLIEST_TEST = datetime(2000, 1, 1, tzinfo=UTC)


@extend_schema_field({"type": "string", "pattern": r"^\d{2}:\d{2}(:\d{2})?$"})
class ClockTime(serializers.TimeField):
    """A time of the firm's clock, such as 14:30. An offset from UTC has no place in it."""

    def __init__(self, **how: Any) -> None:
        super().__init__(input_formats=["%H:%M", "%H:%M:%S"], **how)


class VisitShown(Shown):
    only_for: ClassVar = {
        "technician": Action.SEE_STAFF_NAMES,
        "instructions": Action.SEE_FIRM,
        "end_reason": Action.SEE_FIRM,
        "retest_by": Action.SEE_STAFF_NAMES,
    }
    client = serializers.UUIDField(source="spa.site.client_id", read_only=True)
    site = serializers.UUIDField(source="spa.site_id", read_only=True)
    spa = serializers.UUIDField(source="spa_id", read_only=True)
    technician = PersonShown(read_only=True, allow_null=True)
    window_from = ClockTime(read_only=True, allow_null=True)
    window_to = ClockTime(read_only=True, allow_null=True)
    verdict = serializers.ChoiceField(Verdict.choices, allow_blank=True, read_only=True)
    instructions = serializers.CharField(read_only=True, allow_null=True)
    end_reason = serializers.CharField(read_only=True, allow_null=True)
    retest_by = serializers.CharField(read_only=True, allow_null=True)

    class Meta:
        model = Visit
        fields = (
            "id", "client", "site", "spa", "technician", "kind", "planned_on", "window_from", "window_to",
            "sequence", "instructions", "changeover", "bathers_expected", "state", "end_reason",
            "started_at", "ended_at", "verdict", "fit_from", "holds_until", "tested_at", "retest_by",
            "retest_due", "note_to_owner", "revision",
        )  # fmt: skip
        read_only_fields = fields


class PlanGiven(Given):
    """When, who and what."""

    planned_on = serializers.DateField()
    technician = serializers.UUIDField(required=False, allow_null=True)
    window_from = ClockTime(required=False, allow_null=True)
    window_to = ClockTime(required=False, allow_null=True)
    kind = serializers.ChoiceField(VisitKind.choices, required=False)
    instructions = serializers.CharField(required=False, allow_blank=True, max_length=2000)
    changeover = serializers.BooleanField(required=False)
    bathers_expected = serializers.IntegerField(required=False, allow_null=True, min_value=0, max_value=500)
    sequence = serializers.IntegerField(required=False, min_value=0, max_value=1000)


class NewVisit(PlanGiven):
    spa = serializers.UUIDField()


class ChangedPlan(PlanGiven):
    revision = serializers.IntegerField(required=False, min_value=0, max_value=10**9 - 1)


class Seen(Given):
    revision = serializers.IntegerField(
        required=False,
        min_value=0,
        max_value=10**9 - 1,
        help_text="The revision of the visit that was seen; may stand in If-Match instead.",
    )


class Cancelled(Seen):
    reason = serializers.CharField(max_length=400)


class VisitQuery(ChangedQuery):
    client = serializers.UUIDField(required=False, help_text="Only visits of this client.")
    site = serializers.UUIDField(required=False, help_text="Only visits at this site.")
    spa = serializers.UUIDField(required=False, help_text="Only visits to this spa.")
    state = serializers.ChoiceField(VisitState.choices, required=False)
    from_day = serializers.DateField(required=False, help_text="Planned on this day or later.")
    to_day = serializers.DateField(required=False, help_text="Planned on this day or earlier.")


class Visits(ApiView):
    actions: ClassVar = {"GET": SEE, "POST": (Action.PLAN_VISITS, Action.CARRY_OUT_VISITS)}
    query = VisitQuery

    @extend_schema(operation_id="list_visits", parameters=[VisitQuery], responses=VisitShown(many=True))
    def get(self, request: Request) -> Response:
        asked = only(
            self.asked,
            client="spa__site__client",
            site="spa__site",
            spa="spa",
            state="state",
            from_day="planned_on__gte",
            to_day="planned_on__lte",
        )
        rows = changed_since(visits_of(self.person).filter(**asked), self.asked.get("changed_since"))
        return self.page(rows, VisitShown, order=BY_DAY)

    @extend_schema(operation_id="plan_visit", request=NewVisit, responses={201: VisitShown})
    @once
    def post(self, request: Request) -> Response:
        given = self.body(NewVisit)
        spa = named(spas_of(self.person), "spa", given.pop("spa"))
        technician = _technician(self.person, given.pop("technician", None))
        visit = plan_visit(spa=spa, technician=technician, by=self.person, **given)
        return with_revision(self.made(VisitShown, visit, "api:visit"), visit.revision)


class OneVisit(ApiView):
    actions: ClassVar = {"GET": SEE, "PATCH": PLAN}

    @extend_schema(operation_id="read_visit", responses=VisitShown)
    def get(self, request: Request, pk: UUID) -> Response:
        return _shown(self, visit_of(self.person, pk))

    @extend_schema(operation_id="change_plan", request=ChangedPlan, responses=VisitShown)
    @once
    def patch(self, request: Request, pk: UUID) -> Response:
        """Change a visit that has not started."""
        visit, given = visit_of(self.person, pk), self.body(ChangedPlan, partial=True)
        seen = self.revision(given)
        assert seen is not None
        fields = {name: value for name, value in given.items() if name != "revision"}
        if "technician" in fields:
            fields["technician"] = _technician(self.person, fields["technician"])
        change_plan(visit=visit, by=self.person, expected_revision=seen, **fields)
        return _shown(self, visit_of(self.person, pk))


class CancelVisit(ApiView):
    actions: ClassVar = {"POST": PLAN}

    @extend_schema(operation_id="cancel_visit", request=Cancelled, responses=VisitShown)
    @once
    def post(self, request: Request, pk: UUID) -> Response:
        """Take a visit off the plan; the row stays, with the reason."""
        visit, given = visit_of(self.person, pk), self.body(Cancelled)
        seen = self.revision(given)
        cancel_visit(visit=visit, reason=given["reason"], by=self.person, expected_revision=seen)
        return _shown(self, visit_of(self.person, pk))


class StartVisit(ApiView):
    actions: ClassVar = {"POST": CARRY_OUT}

    @extend_schema(operation_id="start_visit", request=Nothing, responses=VisitShown)
    @once
    def post(self, request: Request, pk: UUID) -> Response:
        """Begin a visit. Starting it twice changes nothing."""
        visit = visit_of(self.person, pk)
        self.body(Nothing)
        start_visit(visit=visit, by=self.person)
        return _shown(self, visit_of(self.person, pk))


class ReadingShown(Shown):
    only_for: ClassVar = {"taken_by": Action.SEE_STAFF_NAMES}
    instrument = serializers.UUIDField(source="instrument_id", read_only=True, allow_null=True)
    taken_by = PersonShown(read_only=True, allow_null=True)
    bound = serializers.ChoiceField(Bound.choices, allow_blank=True, read_only=True)
    method = serializers.ChoiceField(Method.choices, allow_blank=True, read_only=True)

    class Meta:
        model = Reading
        fields = (
            "id", "parameter", "moment", "typed", "typed_unit", "value", "bound", "dilution_factor",
            "method", "instrument", "plus_minus", "converted_from", "taken_at", "governs", "taken_by",
        )  # fmt: skip
        read_only_fields = fields


class ReadingGiven(Given):
    """One test, as typed: the use case says what a figure may be."""

    parameter = serializers.CharField(max_length=40, help_text="Such as ph or free_chlorine_mg_l.")
    value = serializers.CharField(max_length=20, help_text="As typed, in text: 7.4, <0.1 or >10.")
    unit = serializers.CharField(max_length=20, required=False, allow_blank=True)
    bound = serializers.ChoiceField(Bound.choices, required=False, allow_blank=True)
    dilution_factor = serializers.CharField(max_length=10, required=False)
    method = serializers.ChoiceField(Method.choices, required=False, allow_blank=True)
    instrument = serializers.UUIDField(required=False, allow_null=True)
    plus_minus = serializers.CharField(max_length=12, required=False, allow_blank=True)
    taken_at = serializers.DateTimeField(required=False, allow_null=True)
    pad = serializers.ChoiceField(["chlorine", "bromine"], required=False, allow_blank=True)
    repeat = serializers.BooleanField(required=False)

    def validate_taken_at(self, moment: datetime | None) -> datetime | None:
        if moment is not None and moment < EARLIEST_TEST:
            raise serializers.ValidationError("A test is not made before the year 2000.")
        return moment


class ReadingsGiven(Seen):
    moment = serializers.ChoiceField(Moment.choices)
    readings = serializers.ListField(child=ReadingGiven(), allow_empty=False, max_length=MOST_READINGS)


class ReadingsShown(serializers.Serializer[Any]):
    revision = serializers.IntegerField(read_only=True)
    readings = ReadingShown(many=True, read_only=True)


class ReadingsOfVisit(ApiView):
    actions: ClassVar = {"GET": SEE_WORK, "POST": CARRY_OUT}

    @extend_schema(operation_id="read_readings", responses=ReadingsShown)
    def get(self, request: Request, pk: UUID) -> Response:
        """Everything that was read at a visit, by time."""
        visit = visit_of(self.person, pk)
        rows = visit.readings.select_related("taken_by").order_by("taken_at", "id")
        return self._answer(visit, list(rows))

    @extend_schema(operation_id="record_readings", request=ReadingsGiven, responses=ReadingsShown)
    @once
    def post(self, request: Request, pk: UUID) -> Response:
        """Record readings of one moment; answers with those that were given, as they stand."""
        visit, given = visit_of(self.person, pk), self.body(ReadingsGiven)
        saved = record_readings(
            visit=visit,
            moment=given["moment"],
            readings=[_reading(row, place) for place, row in enumerate(given["readings"])],
            by=self.person,
            expected_revision=self.revision(given),
        )
        return self._answer(visit_of(self.person, pk), saved)

    def _answer(self, visit: Visit, readings: list[Reading]) -> Response:
        shown = {"revision": visit.revision, "readings": self.shown(ReadingShown, readings, many=True)}
        return with_revision(Response(shown), visit.revision)


def _reading(given: dict[str, Any], place: int) -> ReadingInput:
    instrument = None
    if key := given.get("instrument"):
        instrument = Instrument.objects.filter(pk=key).first()
        if instrument is None:
            raise ValidationError({f"readings.{place}.instrument": ["There is no such instrument."]})
    return ReadingInput(**{**given, "instrument": instrument})


@extend_schema_field(OpenApiTypes.OBJECT)
class Answered(serializers.JSONField):
    """The engine's answer: verdict, findings with their source, treatment in order, cautions."""


class DecisionShown(Shown):
    answer = Answered(source="response", read_only=True)

    class Meta:
        model = Decision
        fields = ("id", "moment", "made_at", "engine_version", "answer")
        read_only_fields = fields


class DecisionAsked(Seen):
    moment = serializers.ChoiceField(Moment.choices)


class DecisionMade(serializers.Serializer[Any]):
    revision = serializers.IntegerField(read_only=True)
    decision = DecisionShown(read_only=True)


class DecisionsShown(serializers.Serializer[Any]):
    revision = serializers.IntegerField(read_only=True)
    decisions = DecisionShown(many=True, read_only=True)


class DecisionsOfVisit(ApiView):
    actions: ClassVar = {"GET": SEE_WORK, "POST": CARRY_OUT}

    @extend_schema(operation_id="read_decisions", responses=DecisionsShown)
    def get(self, request: Request, pk: UUID) -> Response:
        """The newest decisions of a visit, newest first; the first one stands."""
        visit = visit_of(self.person, pk)
        rows = visit.decisions.order_by("-made_at", "-id")[:MOST_DECISIONS]
        shown = {"revision": visit.revision, "decisions": self.shown(DecisionShown, rows, many=True)}
        return with_revision(Response(shown), visit.revision)

    @extend_schema(operation_id="decide", request=DecisionAsked, responses={201: DecisionMade})
    @once
    def post(self, request: Request, pk: UUID) -> Response:
        """Ask the chemistry what the readings mean and what the water needs.

        The product label, local codes and the judgement of the person at the tub come first. A
        decision is no signature: the spa stays closed until the visit is signed.
        """
        visit, given = visit_of(self.person, pk), self.body(DecisionAsked)
        seen = self.revision(given)
        made = decide(visit=visit, moment=given["moment"], by=self.person, expected_revision=seen)
        fresh = visit_of(self.person, pk)
        shown = {"revision": fresh.revision, "decision": self.shown(DecisionShown, made)}
        return with_revision(Response(shown, status=201), fresh.revision)


def visits_of(person: Person) -> QuerySet[Visit]:
    return visible_visits(person).select_related(*ABOVE).defer(*SEALED)


def visit_of(person: Person, pk: UUID) -> Visit:
    return get_object_or_404(visits_of(person), pk=pk)


def _shown(view: ApiView, visit: Visit) -> Response:
    return with_revision(Response(view.shown(VisitShown, visit)), visit.revision)


def _technician(person: Person, key: UUID | None) -> Person | None:
    return None if key is None else named(who_carries_out_visits(person), "technician", key)
