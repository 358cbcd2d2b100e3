"""The record: canonical, complete, without personal data, verifiable and amendable."""

import hashlib
import json
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.runs.models import Run
from service.visits.amend import amend_record
from service.visits.canonical import canonical, commit, new_salt, plain
from service.visits.models import Amendment, Moment, PersonalDatum, Record, TaskKind
from service.visits.readings import ReadingInput, record_readings
from service.visits.tasks import do_task
from service.visits.treatment import do_step
from service.visits.visible import visible_records, visible_visits
from tests.factories import BatchFactory, InstrumentFactory
from tests.personas import Firm
from tests.visits.working import (
    GOOD,
    MORNING,
    decided,
    fresh,
    inspect,
    product,
    read,
    ready,
    sign,
    signed,
    started,
    with_plan,
)

SECRETS = (
    "Loose strap",
    "Jar was empty",
    "Left at the gate",
    "Ask for Robin",
    "Please keep the cover shut",
)


def full_record(firm: Firm, clock: Any) -> Record:
    """A record with everything in it: a dose with a batch, a retest, tasks, notes."""
    meter = InstrumentFactory(
        organisation=firm.organisation, serial="P-77", check_due_on=date(2026, 6, 1), reagent_lot="L9"
    )
    bicarbonate = product(firm, "Bicarbonate")
    visit = inspect(firm, started(firm, instructions="Ask for Robin"), cover="Loose strap")
    readings = [ReadingInput(name, value, instrument=meter) for name, value in GOOD.items()]
    record_readings(
        visit=visit, moment=Moment.BEFORE, readings=readings, by=firm.technician, expected_revision=None
    )
    (dose, _) = with_plan(visit, [(bicarbonate, "40", 15)])
    do_step(
        step=dose,
        by=firm.technician,
        expected_revision=None,
        actual_mass_g=Decimal("12.5"),
        batch=BatchFactory(product=bicarbonate, code="B-2026-7"),
        reason="Jar was empty",
    )
    do_task(
        visit=visit,
        kind=TaskKind.COVER,
        by=firm.technician,
        expected_revision=None,
        remark="Left at the gate",
    )
    clock.shift(timedelta(minutes=61))
    read(
        firm, visit, {"ph": "7.5", "free_chlorine_mg_l": "<3,9", "total_alkalinity_mg_l": "100"}, Moment.AFTER
    )
    read(firm, visit, {"free_chlorine_mg_l": "3.9"}, Moment.AFTER)
    visit = decided(firm, visit, Moment.AFTER)
    return sign(firm, visit, note_to_owner="Please keep the cover shut")


@pytest.fixture
def record(in_firm: Firm, clock: Any) -> Record:
    return full_record(in_firm, clock)


def test_the_canonical_form_follows_rfc_8785() -> None:
    # RFC 8785 section 3.2.2, the sample's "string" and its canonical form (from memory of the RFC).
    sample = json.loads(r'"€$\u000F\u000aA' + "'" + r'\u0042\u0022\u005c\\\"\/"')

    assert canonical({"string": sample, "literals": [None, True, False]}) == (
        r'{"literals":[null,true,false],"string":"€$\u000f\nA' + "'" + r'B\"\\\\\"/"}'
    )


@pytest.mark.parametrize("value", [1.5, Decimal("1.5"), MORNING, {1: "a"}, {"é": 1}, object()])
def test_the_canonical_form_refuses_what_has_no_certain_text(value: Any) -> None:
    with pytest.raises(TypeError, match=r"\$"):
        canonical({"value": value})


def test_plain_keeps_a_typed_number_as_typed() -> None:
    assert plain([Decimal("4.40"), 0.1, MORNING, date(2026, 6, 3), None]) == [
        "4.40",
        "0.1",
        "2026-06-03T09:00:00.000+00:00",
        "2026-06-03",
        None,
    ]


def test_the_digest_is_that_of_the_stored_text_and_the_text_that_of_the_content(record: Record) -> None:
    record.refresh_from_db()

    assert hashlib.sha256(record.canonical.encode()).hexdigest() == record.digest
    assert json.loads(record.canonical) == record.content
    assert canonical(record.content) == record.canonical


def test_no_name_and_no_typed_word_stands_in_the_record(in_firm: Firm, record: Record) -> None:
    names = (in_firm.technician.name, in_firm.client.name, in_firm.site.name, in_firm.spa.name)

    for word in (*names, *SECRETS):
        assert word not in record.canonical, word


def test_every_commitment_opens_with_its_salt_and_value(record: Record) -> None:
    kept = {datum.name: datum for datum in PersonalDatum.objects.filter(record=record)}
    found = dict(_commitments(record.content))

    assert found.keys() == kept.keys()
    assert {name: commit(datum.salt, datum.value) for name, datum in kept.items()} == found
    assert set(SECRETS) <= {datum.value for datum in kept.values()}
    assert len({datum.salt for datum in kept.values()}) == len(kept)


def _commitments(content: Any) -> list[tuple[str, str]]:
    if isinstance(content, dict) and content.keys() == {"name", "commitment"}:
        return [(content["name"], content["commitment"])]
    items = content.values() if isinstance(content, dict) else content if isinstance(content, list) else ()
    return [found for item in items for found in _commitments(item)]


def test_an_erased_person_leaves_a_record_that_still_verifies(record: Record) -> None:
    PersonalDatum.objects.filter(record=record, name="person.1").update(salt="", value="", erased_at=MORNING)

    record.refresh_from_db()
    assert hashlib.sha256(record.canonical.encode()).hexdigest() == record.digest


def test_the_record_says_what_was_planned_and_what_was_added(record: Record) -> None:
    dose = record.content["steps"][0]

    assert (dose["planned_mass_g"], dose["actual_mass_g"], dose["batch"]) == ("40.00", "12.50", "B-2026-7")
    assert dose["product"]["substance"] == "sodium_bicarbonate"
    assert (dose["state"], dose["done_by"]) == ("done", 1)


def test_the_record_says_how_each_reading_was_made(record: Record) -> None:
    ph = next(item for item in record.content["readings"] if item["parameter"] == "ph")

    assert (ph["typed"], ph["value"], ph["moment"], ph["governs"]) == ("7.4", "7.4000", "before", True)
    assert (ph["instrument"]["serial"], ph["instrument"]["reagent_lot"]) == ("P-77", "L9")
    assert "its check was due on 1 Jun 2026" in ph["instrument"]["remark"]


def test_the_record_names_engine_guideline_and_rows(in_firm: Firm) -> None:
    visit = ready(in_firm, values={**GOOD, "free_chlorine_mg_l": "0.4"})
    record = sign(in_firm, visit, retest_by="Robin", retest_due=MORNING + timedelta(hours=3))

    (decision,) = record.content["decisions"]
    finding = decision["findings"][0]
    assert decision["engine_version"]
    assert finding["row"] == "dc_25c/free_chlorine"
    assert (finding["value"], finding["low"], finding["verified"]) == ("0.4", "3", "document")
    assert "25-C DCMR" in finding["source"]
    assert record.content["guideline"]["id"] == "dc_25c"
    assert "Robin" not in record.canonical
    assert record.content["verdict"]["verdict"] == "closed_until_retest"


def test_a_record_is_ready_to_be_chained_and_not_chained_yet(record: Record) -> None:
    assert (record.sequence, record.previous_digest) == (None, "")
    assert "sequence" not in record.content


def test_salts_are_never_used_twice() -> None:
    assert len({new_salt() for _ in range(100)}) == 100
    assert len(new_salt()) == 64


def test_a_rental_manager_sees_records_of_their_own_tubs_only(in_firm: Firm, stranger: Firm) -> None:
    own, hidden = signed(in_firm), signed(in_firm, in_firm.hidden_spa)

    assert list(visible_records(in_firm.rental_manager)) == [own.record]
    assert list(visible_visits(in_firm.rental_manager)) == [own]
    assert set(visible_visits(in_firm.auditor)) == {own, hidden}
    assert visible_records(in_firm.office).count() == 2
    assert visible_visits(stranger.office).count() == 0


AMENDMENT = {"corrects": "Free chlorine", "was": "3.9", "becomes": "3.4", "reason": "Read off the wrong line"}


def test_an_amendment_is_a_new_row_and_asks_for_a_new_edition(in_firm: Firm, record: Record) -> None:
    before = record.canonical

    amendment = amend_record(record=record, by=in_firm.technician, **AMENDMENT)

    record.refresh_from_db()
    assert record.canonical == before
    assert (amendment.becomes, amendment.made_by) == ("3.4", in_firm.technician)
    assert AuditEvent.objects.filter(action="record.amended").count() == 1
    assert Run.objects.filter(task="reports.build_visit_record").count() == 2


@pytest.mark.parametrize("field", AMENDMENT)
def test_an_amendment_says_everything(in_firm: Firm, field: str) -> None:
    record = signed(in_firm).record

    with pytest.raises(ValidationError) as wrong:
        amend_record(record=record, by=in_firm.technician, **{**AMENDMENT, field: " "})
    assert list(wrong.value.message_dict) == [field]
    assert not Amendment.objects.exists()


def test_who_may_not_amend_adds_nothing(in_firm: Firm, stranger: Firm) -> None:
    record = signed(in_firm).record

    for person in (in_firm.rental_manager, in_firm.auditor, stranger.technician):
        with pytest.raises(NotAllowed):
            amend_record(record=record, by=person, **AMENDMENT)


@pytest.mark.parametrize("table", [Record, Amendment])
def test_records_and_amendments_take_no_change(in_firm: Firm, table: Any) -> None:
    record = signed(in_firm).record
    amend_record(record=record, by=in_firm.technician, **AMENDMENT)

    with pytest.raises(IntegrityError, match="cannot be changed"), transaction.atomic():
        table.objects.update(organisation=in_firm.organisation)
    with pytest.raises(IntegrityError, match="cannot be changed"), transaction.atomic():
        table.objects.all()._raw_delete(using="default")
    assert fresh(record.visit).state == "signed"
