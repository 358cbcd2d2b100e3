"""A signed visit and everything under it refuses raw SQL, whatever code or hand sends it."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, models, transaction
from django.utils import timezone

from service.visits.models import (
    Decision,
    InspectionAnswer,
    Moment,
    Photo,
    Reading,
    Task,
    TaskKind,
    TreatmentStep,
    Visit,
)
from service.visits.tasks import do_task
from service.visits.treatment import do_step
from tests.personas import Firm
from tests.visits.working import (
    GOOD,
    decided,
    fresh,
    inspect,
    planned,
    product,
    read,
    sign,
    started,
    with_plan,
)

CHILDREN: tuple[type[models.Model], ...] = (
    InspectionAnswer,
    Reading,
    Decision,
    TreatmentStep,
    Task,
    Photo,
)


@pytest.fixture
def signed_visit(in_firm: Firm, clock: Any) -> Visit:
    """A signed visit with at least one row in every table under it."""
    visit = read(in_firm, inspect(in_firm, started(in_firm)), GOOD)
    (dose, _) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    do_step(step=dose, by=in_firm.technician, expected_revision=None)
    do_task(visit=visit, kind=TaskKind.COVER, by=in_firm.technician, expected_revision=None)
    Photo.objects.create(
        organisation=in_firm.organisation,
        visit=visit,
        file="x.jpg",
        digest="0" * 64,
        taken_by=in_firm.technician,
    )
    clock.shift(timedelta(minutes=61))
    after = {"ph": "7.5", "free_chlorine_mg_l": "4", "total_alkalinity_mg_l": "110"}
    visit = decided(in_firm, read(in_firm, visit, after, Moment.AFTER), Moment.AFTER)
    sign(in_firm, visit)
    return fresh(visit)


def run(statement: str, *values: Any) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, values)


@pytest.mark.parametrize("statement", ["UPDATE {table} SET revision = 99", "DELETE FROM {table}"])
def test_the_visit_itself_refuses(signed_visit: Visit, statement: str) -> None:
    with pytest.raises(IntegrityError, match="a signed visit cannot be changed"):
        run(statement.format(table=Visit._meta.db_table))

    assert fresh(signed_visit).revision == signed_visit.revision


@pytest.mark.parametrize("model", CHILDREN, ids=lambda model: model.__name__)
@pytest.mark.parametrize(
    "statement", ["UPDATE {table} SET organisation_id = organisation_id", "DELETE FROM {table}"]
)
def test_every_row_under_it_refuses(signed_visit: Visit, model: type[models.Model], statement: str) -> None:
    count = model._default_manager.count()
    assert count > 0

    with pytest.raises(IntegrityError, match="the visit is signed"):
        run(statement.format(table=model._meta.db_table))

    assert model._default_manager.count() == count


@pytest.mark.parametrize("model", CHILDREN, ids=lambda model: model.__name__)
def test_nothing_is_moved_onto_it(in_firm: Firm, signed_visit: Visit, model: type[models.Model]) -> None:
    other = planned(in_firm)
    row = model._default_manager.filter(visit=signed_visit)[0]
    row.pk = None
    row._state.adding = True
    for field in ("pk", "id"):
        setattr(row, field, model._meta.pk.get_default())

    with pytest.raises(IntegrityError, match="the visit is signed"), transaction.atomic():
        row.save(force_insert=True)
    row.visit = other  # type: ignore[attr-defined]
    if model is TreatmentStep:
        row.order = 77  # type: ignore[attr-defined]
    row.save(force_insert=True)
    with pytest.raises(IntegrityError, match="the visit is signed"), transaction.atomic():
        model._default_manager.filter(pk=row.pk).update(visit=signed_visit)


def test_the_signature_cannot_be_taken_back(signed_visit: Visit) -> None:
    with pytest.raises(IntegrityError, match="cannot be changed"):
        run(f"UPDATE {Visit._meta.db_table} SET state = 'on_site'")


def test_an_unsigned_visit_is_not_locked(in_firm: Firm) -> None:
    visit = read(in_firm, started(in_firm), GOOD)

    Reading.objects.filter(visit=visit).update(taken_at=timezone.now())
    Reading.objects.filter(visit=visit).delete()

    assert not Reading.objects.exists()
