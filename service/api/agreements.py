"""Agreements: how often which spa is visited, on which days, by whom."""

from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Person
from accounts.roles import Action
from service.api.asking import NOT_HERE, named, only
from service.api.changes import changed_since
from service.api.once import once
from service.api.spas import spas_of
from service.api.strict import ChangedQuery, Given, PersonShown, Shown
from service.api.view import ApiView
from service.api.visits import ClockTime
from service.rounds.agree import add_agreement, change_agreement, end_agreement
from service.rounds.models import Agreement, Skill
from service.rounds.models.agreements import AMOUNT_OF, weekday_bits
from service.rounds.visible import visible_agreements
from service.visits.forms_plan import who_carries_out_visits

SEE = (Action.SEE_FIRM,)
PLAN = (Action.PLAN_VISITS,)
DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
"""As RFC 5545, section 3.3.10, writes the days of the week."""
MONTH_AND_DAY = r"^(|(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01]))$"
MOST_NAMED = 50
OWN_FIELDS = (
    "frequency", "times_a_week", "every_weeks", "minutes_on_site", "window_from", "window_to",
    "while_guests_stay", "starts_on", "ends_on", "season_from", "season_to", "avoid_public_holidays",
    "min_days_between", "max_days_between", "optional", "drop_price", "instructions",
)  # fmt: skip


class AgreementShown(Shown):
    client = serializers.UUIDField(source="spa.site.client_id", read_only=True)
    site = serializers.UUIDField(source="spa.site_id", read_only=True)
    spa = serializers.UUIDField(source="spa_id", read_only=True)
    weekdays = serializers.SerializerMethodField()
    window_from = ClockTime(read_only=True, allow_null=True)
    window_to = ClockTime(read_only=True, allow_null=True)
    preferred = PersonShown(read_only=True, allow_null=True)
    not_with = PersonShown(read_only=True, many=True)
    skills: "serializers.SlugRelatedField[Skill]" = serializers.SlugRelatedField(
        slug_field="name", read_only=True, many=True
    )

    class Meta:
        model = Agreement
        fields = (
            "id", "client", "site", "spa", *OWN_FIELDS, "weekdays", "preferred", "not_with",
            "skills",
        )  # fmt: skip
        read_only_fields = fields

    @extend_schema_field(serializers.ListField(child=serializers.ChoiceField(DAYS)))
    def get_weekdays(self, agreement: Agreement) -> list[str]:
        return [DAYS[day] for day in agreement.weekdays]


class AgreementGiven(Given, serializers.ModelSerializer[Agreement]):
    """The figures' limits are the model's."""

    weekdays = serializers.ListField(
        child=serializers.ChoiceField(DAYS),
        min_length=1,
        max_length=7,
        required=False,
        help_text="Days allowed; Monday to Friday when nothing is said.",
    )
    times_a_week = serializers.IntegerField(min_value=1, max_value=7, required=False, allow_null=True)
    every_weeks = serializers.IntegerField(min_value=1, max_value=52, required=False, allow_null=True)
    min_days_between = serializers.IntegerField(min_value=1, max_value=400, required=False, allow_null=True)
    max_days_between = serializers.IntegerField(min_value=1, max_value=400, required=False, allow_null=True)
    window_from = ClockTime(required=False, allow_null=True)
    window_to = ClockTime(required=False, allow_null=True)
    season_from = serializers.RegexField(MONTH_AND_DAY, required=False, allow_blank=True, help_text="04-15")
    season_to = serializers.RegexField(MONTH_AND_DAY, required=False, allow_blank=True, help_text="10-31")
    preferred = serializers.UUIDField(required=False, allow_null=True, help_text="A technician.")
    not_with = serializers.ListField(
        child=serializers.UUIDField(), max_length=MOST_NAMED, required=False, help_text="Never these people."
    )
    skills = serializers.ListField(
        child=serializers.CharField(max_length=60),
        max_length=MOST_NAMED,
        required=False,
        help_text="Skills of the firm, by name.",
    )

    class Meta:
        model = Agreement
        fields: ClassVar[tuple[str, ...]] = (*OWN_FIELDS, "weekdays", "preferred", "not_with", "skills")


class NewAgreement(AgreementGiven):
    spa = serializers.UUIDField()

    class Meta(AgreementGiven.Meta):
        fields = ("spa", *AgreementGiven.Meta.fields)


class Ended(Given):
    ends_on = serializers.DateField(help_text="The last day on which it promises visits.")


class AgreementQuery(ChangedQuery):
    client = serializers.UUIDField(required=False, help_text="Only agreements of this client.")
    site = serializers.UUIDField(required=False, help_text="Only agreements at this site.")
    spa = serializers.UUIDField(required=False, help_text="Only agreements for this spa.")


class Agreements(ApiView):
    actions: ClassVar = {"GET": SEE, "POST": PLAN}
    query = AgreementQuery

    @extend_schema(
        operation_id="list_agreements", parameters=[AgreementQuery], responses=AgreementShown(many=True)
    )
    def get(self, request: Request) -> Response:
        asked = only(self.asked, client="spa__site__client", site="spa__site", spa="spa")
        rows = agreements_of(self.person).filter(**asked)
        return self.page(changed_since(rows, self.asked.get("changed_since")), AgreementShown)

    @extend_schema(operation_id="add_agreement", request=NewAgreement, responses={201: AgreementShown})
    @once
    def post(self, request: Request) -> Response:
        given = self.body(NewAgreement)
        spa = named(spas_of(self.person), "spa", given.pop("spa"))
        agreement = add_agreement(spa=spa, by=self.person, **_fields(self.person, given))
        return self.made(AgreementShown, agreements_of(self.person).get(pk=agreement.pk), "api:agreement")


class OneAgreement(ApiView):
    actions: ClassVar = {"GET": SEE, "PATCH": PLAN}

    @extend_schema(operation_id="read_agreement", responses=AgreementShown)
    def get(self, request: Request, pk: UUID) -> Response:
        return Response(self.shown(AgreementShown, agreement_of(self.person, pk)))

    @extend_schema(operation_id="change_agreement", request=AgreementGiven, responses=AgreementShown)
    @once
    def patch(self, request: Request, pk: UUID) -> Response:
        agreement = agreement_of(self.person, pk)
        given = self.body(AgreementGiven, partial=True)
        change_agreement(agreement=agreement, by=self.person, **_fields(self.person, given, agreement))
        return Response(self.shown(AgreementShown, agreement_of(self.person, pk)))


class EndAgreement(ApiView):
    actions: ClassVar = {"POST": PLAN}

    @extend_schema(operation_id="end_agreement", request=Ended, responses=AgreementShown)
    @once
    def post(self, request: Request, pk: UUID) -> Response:
        agreement = agreement_of(self.person, pk)
        end_agreement(agreement=agreement, last_day=self.body(Ended)["ends_on"], by=self.person)
        return Response(self.shown(AgreementShown, agreement_of(self.person, pk)))


def agreements_of(person: Person) -> QuerySet[Agreement]:
    rows = visible_agreements(person).select_related("spa__site", "preferred")
    sealed = ("spa__site__access_code", "spa__site__access_notes")
    return rows.prefetch_related("skills", "not_with").defer(*sealed)


def agreement_of(person: Person, pk: UUID) -> Agreement:
    return get_object_or_404(agreements_of(person), pk=pk)


def _fields(person: Person, given: dict[str, Any], agreement: Agreement | None = None) -> dict[str, Any]:
    """The body as the use cases take it. Raises ValidationError at the field that names nobody or nothing.

    Whom the agreement names already may stay, although they have left.
    """
    fields = dict(given)
    if "weekdays" in fields:
        fields["weekdays_allowed"] = weekday_bits(DAYS.index(day) for day in fields.pop("weekdays"))
    if "frequency" in fields:
        # The figure of another frequency is put away, as the page does it.
        for frequency, amount in AMOUNT_OF.items():
            if frequency != fields["frequency"]:
                fields.setdefault(amount, None)
    people = _people(person, agreement)
    if fields.get("preferred"):
        fields["preferred"] = _known(people, "preferred", fields["preferred"])
    if "not_with" in fields:
        fields["not_with"] = [_known(people, "not_with", key) for key in dict.fromkeys(fields["not_with"])]
    if "skills" in fields:
        fields["skills"] = _skills(person, fields["skills"])
    return fields


def _people(person: Person, agreement: Agreement | None) -> dict[UUID, Person]:
    known = list(who_carries_out_visits(person))
    if agreement is not None:
        known += [*agreement.not_with.all(), *([agreement.preferred] if agreement.preferred else [])]
    return {one.pk: one for one in known}


def _known(people: dict[UUID, Person], field: str, key: UUID) -> Person:
    if key not in people:
        raise ValidationError({field: [NOT_HERE.format("technician")]})
    return people[key]


def _skills(person: Person, names: list[str]) -> list[Skill]:
    found = list(Skill.objects.filter(organisation=person.organisation_id, name__in=names))
    if missing := sorted(set(names) - {skill.name for skill in found}):
        raise ValidationError({"skills": [f"The firm has no skill called {', '.join(missing)}."]})
    return found
