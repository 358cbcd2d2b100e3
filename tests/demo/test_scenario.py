"""The demonstration: months read back, a week played through the use cases."""

import json
import re
from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone
from django_scopes import scope, scopes_disabled

from accounts.models import Organisation, Person
from service.demo.scenario import PASSWORD, PIN, SCENARIO, Cast, build_scenario
from service.rounds.models import PlannedVisit, PlanState
from service.sites.models import Spa
from service.visits.fitness import fitness_of_spas
from service.visits.models import Amendment, Record, TaskKind, Visit, VisitState

pytestmark = pytest.mark.long


@pytest.fixture
def casts(db: None) -> list[Cast]:
    return build_scenario()


def test_the_scenario_has_a_state_of_every_kind(casts: list[Cast]) -> None:
    with scopes_disabled():
        states = set(Visit.objects.values_list("state", flat=True))
        amended = Amendment.objects.count()
        records = Record.objects.count()
        week = Visit.objects.filter(planned_on__gte=timezone.localdate() - timedelta(days=7))
        drained = week.filter(
            spa__name="Bothy tub", tasks__kind=TaskKind.DRAIN_REFILL, tasks__state="done"
        ).count()
        overdue = Visit.objects.filter(state=VisitState.PLANNED, planned_on__lt=timezone.localdate()).count()
    shapes = set()
    for cast in casts:
        with scope(organisation=cast.organisation):
            spas = list(Spa.objects.select_related("site__client", "organisation"))
            shapes |= {fitness.shape for fitness in fitness_of_spas(spas, timezone.now()).values()}

    assert {VisitState.SIGNED, VisitState.PLANNED, VisitState.NO_ACCESS, VisitState.BATHERS} <= states
    assert amended >= 1
    assert records > 400
    assert overdue >= 1
    assert drained == 1
    assert {"●", "▲", "○"} <= shapes


def test_a_demonstration_set_up_in_the_evening_has_a_day_to_look_at(db: None) -> None:
    evening = timezone.localtime().replace(hour=21, minute=0)
    with time_machine.travel(evening, tick=False):
        build_scenario()
        with scopes_disabled():
            today = PlannedVisit.objects.filter(plan__state=PlanState.PUBLISHED, day=timezone.localdate())
            late = PlannedVisit.objects.filter(plan__state=PlanState.PUBLISHED, reason__contains="too late")

            assert today.count() >= 5
            assert not late.exists()


def test_everybody_signs_in_with_the_printed_password_and_pin(casts: list[Cast]) -> None:
    people = list(Person.objects.all())

    assert len(people) == 11
    assert all(person.check_password(PASSWORD) and person.signing_pin_is(PIN) for person in people)


def test_spas_of_all_systems_and_shells_are_there(casts: list[Cast]) -> None:
    with scopes_disabled():
        spas = Spa.objects.values_list("sanitiser", "shell")

    assert {sanitiser for sanitiser, _ in spas} == {"chlorine", "bromine", "other"}
    assert {shell for _, shell in spas} == {"acrylic", "wood", "vinyl", "stainless_steel"}
    assert len(spas) == 60
    assert Organisation.objects.count() == 2


@pytest.mark.django_db(databases=[])
def test_every_address_in_the_scenario_is_a_reserved_one() -> None:
    """RFC 2606 reserves .example and example.org; no real mailbox can be met."""
    mails = re.findall(r"[\w.-]+@[\w.-]+", json.dumps(json.loads(SCENARIO.read_text())))

    assert mails
    assert all(mail.endswith(".example") for mail in mails)
