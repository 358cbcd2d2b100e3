"""Whether people may use a spa now."""

from typing import Any, ClassVar
from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from service.api.asking import SEE, only
from service.api.paging import BY_KEY, page_of
from service.api.spas import spa_of, spas_of
from service.api.strict import PageQuery
from service.api.view import ApiView, listed
from service.sites.listing import in_state
from service.sites.models import Spa
from service.visits.fitness import fitness_of, fitness_of_spas


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
