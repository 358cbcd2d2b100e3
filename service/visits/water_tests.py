"""When the water of a spa is next to be tested, by the clause of the set in force."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F, Max

from service.chemistry.errors import InputError
from service.chemistry.guidelines import get
from service.chemistry.guidelines.clocks import DueTest, due_tests
from service.chemistry.guidelines.parameters import SANITISER_PARAMETER
from service.sites.models import Feeder, Spa
from service.visits.clock import zone_of
from service.visits.due import facility_of
from service.visits.models import Reading

# Tests of today and yesterday are counted one by one, older ones by the last.
COUNTED = timedelta(days=2)
_CYANURATE = "cyanuric_acid_mg_l"


def due_water_tests(spa: Spa, now: datetime) -> list[DueTest]:
    """Every test the set asks for at the spa, soonest first; see ``due_water_tests_of``."""
    return due_water_tests_of([spa], now)[spa.pk]


def due_water_tests_of(spas: Iterable[Spa], now: datetime) -> dict[UUID, list[DueTest]]:
    """Every test the sets ask for, by what is on record, soonest first, by the spa's key; one query.

    ``is_overdue`` says what is due at this visit. Needs ``site.client`` and ``organisation`` loaded.
    """
    listed = list(spas)
    tested: dict[UUID, dict[str, set[datetime]]] = {spa.pk: {} for spa in listed}
    readings = Reading.objects.filter(visit__spa__in=tested).order_by()
    latest = readings.values_list("visit__spa", "parameter").annotate(at=Max("taken_at"))
    newest = readings.filter(taken_at__gte=now - COUNTED)
    counted = newest.values_list("visit__spa", "parameter").annotate(at=F("taken_at"))
    for spa, name, moment in latest.union(counted, all=True):
        tested[spa].setdefault(name, set()).add(moment)
    return {
        spa.pk: tests_of_the_set(
            spa, {name: sorted(moments) for name, moments in tested[spa.pk].items()}, now
        )
        for spa in listed
    }


def tests_of_the_set(spa: Spa, tested: Mapping[str, Sequence[datetime]], now: datetime) -> list[DueTest]:
    """What the set in force asks for, given when what was tested; nothing when the set is not known."""
    zone = zone_of(spa.organisation)
    moments = {name: [moment.astimezone(zone) for moment in given] for name, given in tested.items()}
    both = ("free_chlorine_mg_l", "total_chlorine_mg_l")
    if all(name in moments for name in both):
        moments["combined_chlorine_mg_l"] = moments["total_chlorine_mg_l"]
    try:
        guideline = get(spa.guideline_in_force())
    except InputError:
        return []
    return due_tests(
        guideline,
        moments,
        now=now.astimezone(zone),
        sanitiser=spa.sanitiser,
        feed="automatic" if spa.feeder == Feeder.AUTOMATIC else "manual",
        facility=facility_of(spa.site.client),
        used=[_CYANURATE] if _CYANURATE in moments else [],
    )


def key_test(spa: Spa, tests: Iterable[DueTest]) -> DueTest | None:
    """The soonest test of sanitiser or pH: from then on nobody can say that the water is fit."""
    core = {SANITISER_PARAMETER.get(spa.sanitiser), "ph"}
    return next((test for test in tests if core & set(test.parameters)), None)


def not_made(spa: Spa, tests: Iterable[DueTest]) -> list[DueTest]:
    """Tests that the clause for sanitiser or pH asks for as well, and that are overdue."""
    listed = list(tests)
    core = {SANITISER_PARAMETER.get(spa.sanitiser), "ph"}
    clauses = {test.citation for test in listed if core & set(test.parameters)}
    return [
        test
        for test in listed
        if test.is_overdue and test.citation in clauses and not core & set(test.parameters)
    ]
