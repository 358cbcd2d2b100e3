"""Readings: saved as typed, wider than they can be solved, repeated, converted, taken back."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.chemistry.readings import PARAMETERS
from service.chemistry.uncertainty import BROMINE_PER_CHLORINE
from service.visits.editing import Changed, Refused
from service.visits.models import Moment, Reading, StepState, WithdrawnReading
from service.visits.readings import (
    TESTS,
    ReadingInput,
    choose_governing,
    conversion_remark,
    instrument_remark,
    previous_readings,
    record_readings,
    withdraw_reading,
)
from service.visits.readings import tests_for as offered_to
from service.visits.treatment import do_step
from tests.factories import InstrumentFactory, SpaFactory
from tests.personas import Firm
from tests.visits.working import GOOD, fresh, planned, product, read, ready, sign, signed, started, with_plan


def record(firm: Firm, visit: Any, *readings: ReadingInput, moment: str = Moment.BEFORE) -> list[Reading]:
    return record_readings(
        visit=visit, moment=moment, readings=readings, by=firm.technician, expected_revision=None
    )


def errors_of(firm: Firm, reading: ReadingInput) -> list[str]:
    with pytest.raises(ValidationError) as wrong:
        record(firm, started(firm), reading)
    return wrong.value.message_dict[reading.parameter]


def test_every_test_offered_is_one_the_chemistry_knows() -> None:
    assert {test.parameter for test in TESTS} <= set(PARAMETERS)


def test_recording_is_wider_than_solving() -> None:
    for test in TESTS:
        solved = PARAMETERS[test.parameter]
        assert test.low <= Decimal(solved.low) or test.parameter == "temperature_c", test.parameter
        assert test.high >= min(Decimal(solved.high), Decimal(99_999_999)), test.parameter


def test_a_bromine_spa_is_asked_for_bromine(in_firm: Firm) -> None:
    bromine = SpaFactory(site=in_firm.site, sanitiser="bromine")

    assert "total_bromine_mg_l" in {test.parameter for test in offered_to(bromine)}
    assert "free_chlorine_mg_l" not in {test.parameter for test in offered_to(bromine)}
    assert "total_bromine_mg_l" not in {test.parameter for test in offered_to(in_firm.spa)}


@pytest.mark.parametrize("typed", ["7.40", "7,40", " 7.40 "])
def test_a_reading_is_kept_as_typed(in_firm: Firm, typed: str) -> None:
    (reading,) = record(in_firm, started(in_firm), ReadingInput("ph", typed))

    assert (reading.typed, reading.value, reading.governs) == ("7.40", Decimal("7.40"), True)
    assert AuditEvent.objects.get(action="visit.readings_recorded").detail["typed"] == {"ph": "7.40"}


@pytest.mark.parametrize(("parameter", "value"), [("temperature_c", "48"), ("ph", "4"), ("ph", "0")])
def test_what_cannot_be_solved_is_saved_all_the_same(in_firm: Firm, parameter: str, value: str) -> None:
    (reading,) = record(in_firm, started(in_firm), ReadingInput(parameter, value))

    assert reading.value == Decimal(value)


@pytest.mark.parametrize(
    ("parameter", "value", "said"),
    [
        ("ph", "14.1", "pH must be from 0 to 14."),
        ("ph", "seven", "pH must be a number from 0 to 14, with at most 4 decimals."),
        ("ph", "7.12345", "pH must be a number from 0 to 14, with at most 4 decimals."),
        ("ph", "NaN", "pH must be a number from 0 to 14, with at most 4 decimals."),
        ("temperature_c", "101", "Water temperature must be from 0 to 100 °C."),
        ("free_chlorine_mg_l", "-1", "Free chlorine must be from 0 to 1000 mg/L."),
        ("gold_mg_l", "1", "This test is not known."),
    ],
)
def test_what_no_test_can_show_is_refused_with_limit_and_unit(
    in_firm: Firm, parameter: str, value: str, said: str
) -> None:
    (message,) = errors_of(in_firm, ReadingInput(parameter, value))

    assert message.startswith(said)


def test_one_wrong_field_saves_none_and_an_empty_one_is_not_measured(in_firm: Firm) -> None:
    visit = started(in_firm)

    with pytest.raises(ValidationError):
        record(in_firm, visit, ReadingInput("ph", "7.4"), ReadingInput("temperature_c", "hot"))
    assert not Reading.objects.exists()

    record(in_firm, visit, ReadingInput("ph", "7.4"), ReadingInput("temperature_c", " "))
    assert [reading.parameter for reading in Reading.objects.all()] == ["ph"]


@pytest.mark.parametrize(("value", "bound"), [("<0.1", ""), ("0.1", "<")])
def test_a_reading_below_what_the_test_shows_keeps_its_bound(in_firm: Firm, value: str, bound: str) -> None:
    (reading,) = record(in_firm, started(in_firm), ReadingInput("free_chlorine_mg_l", value, bound=bound))

    assert (reading.bound, reading.value) == ("<", Decimal("0.1"))


def test_a_diluted_sample_is_multiplied_and_says_so(in_firm: Firm) -> None:
    (reading,) = record(
        in_firm, started(in_firm), ReadingInput("free_chlorine_mg_l", "2.5", dilution_factor="5")
    )

    assert (reading.typed, reading.value, reading.dilution_factor) == ("2.5", Decimal("12.5"), 5)


@pytest.mark.parametrize("factor", ["0.5", "101", "x", "2.555"])
def test_a_dilution_has_limits(in_firm: Firm, factor: str) -> None:
    (message,) = errors_of(in_firm, ReadingInput("free_chlorine_mg_l", "2", dilution_factor=factor))

    assert message == "A sample is diluted from 1 to 100 times, with at most 2 decimals."


def test_ph_is_not_read_on_a_diluted_sample(in_firm: Firm) -> None:
    assert errors_of(in_firm, ReadingInput("ph", "7", dilution_factor="2")) == [
        "pH cannot be read on a diluted sample."
    ]


def test_degrees_fahrenheit_are_kept_and_judged_in_celsius(in_firm: Firm) -> None:
    # 104 °F is 40 °C exactly: (104 - 32) x 5 / 9, the definition of the Fahrenheit scale.
    (reading,) = record(in_firm, started(in_firm), ReadingInput("temperature_c", "104", unit="°F"))

    assert (reading.typed, reading.typed_unit, reading.value) == ("104", "°F", Decimal("40"))


def test_an_unknown_unit_is_refused(in_firm: Firm) -> None:
    assert errors_of(in_firm, ReadingInput("free_chlorine_mg_l", "3", unit="oz")) == [
        "Free chlorine is read in mg/L."
    ]


def test_a_strips_chlorine_pad_reads_bromine_in_a_bromine_spa_and_the_record_says_so(in_firm: Firm) -> None:
    # Ratio of the molar masses of Br2 and Cl2, 159.808/70.906 (CIAAW abridged atomic weights, 2021).
    spa = SpaFactory(site=in_firm.site, sanitiser="bromine")
    strip = InstrumentFactory(organisation=in_firm.organisation, method="strip")

    (reading,) = record(
        in_firm, started(in_firm, spa), ReadingInput("free_chlorine_mg_l", "3", instrument=strip)
    )

    assert reading.parameter == "total_bromine_mg_l"
    assert reading.value == Decimal(str(round(3 * float(BROMINE_PER_CHLORINE), 4)))
    assert (reading.typed, reading.converted_from) == ("3", "free_chlorine_mg_l")
    assert conversion_remark(reading) == (
        "Read as 3 mg/L on the chlorine scale of the strip, converted to 6.76 mg/L bromine (159.808/70.906)."
    )


def test_a_photometers_chlorine_is_not_taken_for_bromine(in_firm: Firm) -> None:
    spa = SpaFactory(site=in_firm.site, sanitiser="bromine")

    (reading,) = record(
        in_firm, started(in_firm, spa), ReadingInput("free_chlorine_mg_l", "3", method="photometer")
    )

    assert (reading.parameter, reading.converted_from) == ("free_chlorine_mg_l", "")
    assert conversion_remark(reading) == ""


def test_the_instruments_own_error_is_kept(in_firm: Firm) -> None:
    meter = InstrumentFactory(organisation=in_firm.organisation, plus_minus={"ph": "0.05"})

    typed, own = record(
        in_firm,
        started(in_firm),
        ReadingInput("ph", "7.4", instrument=meter),
        ReadingInput("temperature_c", "38", plus_minus="0,5"),
    )

    assert (typed.method, typed.plus_minus, own.plus_minus) == ("photometer", Decimal("0.05"), Decimal("0.5"))


def test_an_overdue_instrument_is_said(in_firm: Firm) -> None:
    meter = InstrumentFactory(
        organisation=in_firm.organisation,
        name="Photometer 3",
        check_due_on=date(2026, 6, 2),
        reagent_expires_on=date(2026, 5, 31),
    )

    (reading,) = record(in_firm, started(in_firm), ReadingInput("ph", "7.4", instrument=meter))

    assert instrument_remark(reading) == (
        "Photometer 3: its check was due on 2 Jun 2026. "
        "Photometer 3: its reagent or strips were good until 31 May 2026."
    )


def test_an_instrument_in_date_is_not_spoken_of(in_firm: Firm) -> None:
    meter = InstrumentFactory(organisation=in_firm.organisation, check_due_on=date(2026, 6, 3))

    (reading,) = record(in_firm, started(in_firm), ReadingInput("ph", "7.4", instrument=meter))

    assert instrument_remark(reading) == ""


def test_the_same_reading_sent_twice_is_one_reading(in_firm: Firm) -> None:
    visit = started(in_firm)

    first = record(in_firm, visit, ReadingInput("ph", "7.4"))
    second = record(in_firm, visit, ReadingInput("ph", "7.4"))

    assert first == second
    assert Reading.objects.count() == 1


def test_a_mistyped_reading_is_corrected_in_place_and_the_trail_keeps_both(in_firm: Firm) -> None:
    visit = started(in_firm)
    record(in_firm, visit, ReadingInput("ph", "4.7"))
    record(in_firm, visit, ReadingInput("ph", "7.4"))

    assert Reading.objects.get().typed == "7.4"
    said = [
        event.detail["typed"]["ph"] for event in AuditEvent.objects.filter(action="visit.readings_recorded")
    ]
    assert said == ["7.4", "4.7"]


def test_a_repeat_keeps_both_and_the_newest_governs_until_another_is_chosen(
    in_firm: Firm, clock: Any
) -> None:
    visit = started(in_firm)
    (first,) = record(in_firm, visit, ReadingInput("ph", "7.9"))
    clock.shift(timedelta(minutes=2))
    (second,) = record(in_firm, visit, ReadingInput("ph", "7.6", repeat=True))

    assert list(Reading.objects.values_list("typed", "governs")) == [("7.9", False), ("7.6", True)]

    choose_governing(reading=first, by=in_firm.technician)

    assert dict(Reading.objects.values_list("typed", "governs")) == {"7.9": True, "7.6": False}
    assert second.pk != first.pk


def test_a_reading_taken_back_lets_the_earlier_one_govern(in_firm: Firm) -> None:
    visit = started(in_firm)
    record(in_firm, visit, ReadingInput("ph", "7.9"))
    (repeat,) = record(in_firm, visit, ReadingInput("ph", "1", repeat=True))

    with pytest.raises(ValidationError, match="Say why"):
        withdraw_reading(reading=repeat, reason="", by=in_firm.technician, expected_revision=None)
    withdraw_reading(reading=repeat, reason="Wrong cuvette", by=in_firm.technician, expected_revision=None)

    assert list(Reading.objects.values_list("typed", "governs")) == [("7.9", True)]
    assert AuditEvent.objects.get(action="visit.reading_withdrawn").detail["figure"] == "1"
    gone = WithdrawnReading.objects.get()
    assert (gone.figure, gone.reason, gone.withdrawn_by) == ("1", "Wrong cuvette", in_firm.technician)


def test_a_reading_taken_back_is_in_no_record(in_firm: Firm) -> None:
    visit = ready(in_firm)
    (wrong,) = record(in_firm, visit, ReadingInput("ph", "3.1", repeat=True))
    withdraw_reading(reading=wrong, reason="Sample spilt", by=in_firm.technician, expected_revision=None)

    record_of_it = sign(in_firm, visit)

    assert "3.1" not in record_of_it.canonical
    assert [one["typed"] for one in record_of_it.content["readings"] if one["parameter"] == "ph"] == ["7.4"]


def test_after_a_further_dose_a_reading_is_a_new_one_not_a_correction(in_firm: Firm, clock: Any) -> None:
    visit = read(in_firm, started(in_firm), GOOD)
    bicarbonate = product(in_firm, "Bicarbonate")
    (dose, _) = with_plan(visit, [(bicarbonate, "40", 15)])
    do_step(step=dose, by=in_firm.technician, expected_revision=None)
    clock.shift(timedelta(minutes=20))
    read(in_firm, visit, {"ph": "7.5", "free_chlorine_mg_l": "4"}, Moment.AFTER)
    clock.shift(timedelta(minutes=5))
    (more, _) = with_plan(visit, [(bicarbonate, "40", 15)], moment=Moment.AFTER)
    do_step(step=more, by=in_firm.technician, expected_revision=None)
    clock.shift(timedelta(minutes=20))

    read(in_firm, visit, {"ph": "7.6"}, Moment.AFTER)

    after = Reading.objects.filter(parameter="ph", moment=Moment.AFTER)
    assert list(after.values_list("typed", "governs")) == [("7.5", False), ("7.6", True)]


def test_a_retest_step_is_done_once_everything_it_asks_for_is_read(in_firm: Firm, clock: Any) -> None:
    visit = read(in_firm, started(in_firm), GOOD)
    (dose, retest) = with_plan(visit, [(product(in_firm, "Bicarbonate"), "40", 15)])
    do_step(step=dose, by=in_firm.technician, expected_revision=None)
    clock.shift(timedelta(minutes=20))

    read(in_firm, visit, {"ph": "7.5"}, Moment.AFTER)
    retest.refresh_from_db()
    assert retest.state == StepState.PLANNED

    read(in_firm, visit, {"free_chlorine_mg_l": "4"}, Moment.AFTER)
    retest.refresh_from_db()
    assert (retest.state, retest.done_by) == (StepState.DONE, in_firm.technician)


def test_a_test_cannot_lie_in_the_future(in_firm: Firm) -> None:
    later = timezone.now() + timedelta(minutes=6)

    assert errors_of(in_firm, ReadingInput("ph", "7.4", taken_at=later)) == [
        "A test cannot lie in the future."
    ]


def test_previous_readings_are_the_last_of_signed_visits_in_one_query(
    in_firm: Firm, clock: Any, django_assert_num_queries: Any
) -> None:
    signed(in_firm)
    clock.shift(timedelta(days=1))
    unsigned = read(in_firm, started(in_firm), {"ph": "7.7"})

    with django_assert_num_queries(1):
        previous = previous_readings(in_firm.spa, unsigned)

    assert {name: reading.typed for name, reading in previous.items()} == GOOD


def test_readings_are_refused_out_of_turn_to_strangers_and_to_the_second(
    in_firm: Firm, stranger: Firm
) -> None:
    readings = [ReadingInput("ph", "7.4")]
    with pytest.raises(Refused, match="Start the visit first"):
        record(in_firm, planned(in_firm), *readings)
    visit = started(in_firm)
    for person in (stranger.technician, in_firm.rental_manager, in_firm.auditor):
        with pytest.raises(NotAllowed):
            record_readings(
                visit=visit, moment=Moment.BEFORE, readings=readings, by=person, expected_revision=None
            )
    with pytest.raises(Changed):
        record_readings(
            visit=visit,
            moment=Moment.BEFORE,
            readings=readings,
            by=in_firm.technician,
            expected_revision=fresh(visit).revision + 1,
        )


def test_a_signed_visit_takes_no_reading(in_firm: Firm) -> None:
    visit = signed(in_firm)

    with pytest.raises(Refused, match="Add an amendment"):
        record(in_firm, visit, ReadingInput("ph", "7.4"))
    with pytest.raises(Refused, match="Add an amendment"):
        choose_governing(reading=Reading.objects.filter(visit=visit)[0], by=in_firm.technician)
