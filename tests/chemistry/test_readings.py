"""Readings as they are typed: numbers, dilution, bounds, methods, and what is refused in which words."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.chemistry.errors import FieldError, InputError
from service.chemistry.readings import PARAMETERS, parse_readings
from service.chemistry.water import water_from_readings

SPA = {
    "temperature_c": 38,
    "ph": 7.4,
    "total_alkalinity_mg_l": 100,
    "calcium_hardness_mg_l": 150,
    "total_dissolved_solids_mg_l": 800,
}


def faults(raw):
    with pytest.raises(InputError) as refused:
        parse_readings(raw)
    return {error.field: error.message for error in refused.value.errors}


def test_number_is_kept_exactly_as_typed():
    read = parse_readings({"free_chlorine_mg_l": 4.0, "total_chlorine_mg_l": 4.4})

    difference = read["total_chlorine_mg_l"].typed - read["free_chlorine_mg_l"].typed

    assert difference == Decimal("0.4")


def test_every_part_of_a_reading_is_kept():
    at = "2026-06-01T09:30:00+01:00"
    reading = parse_readings(
        {
            "free_chlorine_mg_l": {
                "value": 2.2,
                "plus_minus": 0.1,
                "method": "photometer",
                "at": at,
                "bound": ">",
                "dilution_factor": 3,
            }
        }
    )["free_chlorine_mg_l"]

    assert reading.value == 6.6
    assert reading.typed == Decimal("6.6")
    assert (reading.plus_minus, reading.method, reading.bound) == (0.1, "photometer", ">")
    assert reading.at == datetime.fromisoformat(at)
    assert reading.dilution_factor == 3


def test_time_without_a_zone_is_taken_as_utc():
    reading = parse_readings({"ph": {"value": 7.4, "at": "2026-06-01T09:30:00"}})["ph"]

    assert reading.at == datetime(2026, 6, 1, 9, 30, tzinfo=UTC)
    assert reading.at.utcoffset() == timedelta(0)


def test_absent_and_null_readings_are_not_known():
    assert set(parse_readings({"ph": 7.4, "borate_mg_l": None})) == {"ph"}


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("ph", 15, "pH must be from 0 to 14"),
        ("ph", -0.1, "pH must be from 0 to 14"),
        ("ph", "7.4", "pH must be a number from 0 to 14"),
        ("ph", True, "pH must be a number from 0 to 14"),
        ("ph", float("nan"), "pH must be a number from 0 to 14"),
        ("ph", float("inf"), "pH must be a number from 0 to 14"),
        ("ph", [7.4], "pH must be a number from 0 to 14"),
        ("ph", {"plus_minus": 0.1}, "pH must be a number from 0 to 14"),
        ("total_alkalinity_mg_l", 1001, "Total alkalinity must be from 0 to 1000 mg/L as CaCO3"),
        ("calcium_hardness_mg_l", 2001, "Calcium hardness must be from 0 to 2000 mg/L as CaCO3"),
        ("cyanuric_acid_mg_l", 301, "Cyanuric acid must be from 0 to 300 mg/L"),
        ("borate_mg_l", 101, "Borate must be from 0 to 100 mg/L as B"),
        ("free_chlorine_mg_l", 101, "Free chlorine must be from 0 to 100 mg/L as Cl2"),
        ("total_bromine_mg_l", -1, "Total bromine must be from 0 to 100 mg/L as Br2"),
        ("total_dissolved_solids_mg_l", 10001, "Total dissolved solids must be from 0 to 10000 mg/L"),
        ("temperature_c", 46, "Water temperature must be from 0 to 45 °C"),
    ],
)
def test_reading_outside_its_limits_is_refused_with_limit_and_unit(name, value, message):
    assert faults({name: value}) == {f"readings.{name}": message}


def test_limits_themselves_are_accepted():
    assert parse_readings({"ph": 14, "temperature_c": 45, "cyanuric_acid_mg_l": 300})


def test_every_fault_is_reported_at_once():
    found = faults(
        {"ph": 15, "temperature_c": "warm", "chlorine": 3, "borate_mg_l": {"value": 1, "method": "nose"}}
    )

    assert set(found) == {
        "readings.ph",
        "readings.temperature_c",
        "readings.chlorine",
        "readings.borate_mg_l.method",
    }
    assert found["readings.borate_mg_l.method"] == (
        "Must be one of strip, drops, photometer, electrode, laboratory"
    )
    assert found["readings.chlorine"].startswith("Unknown reading; known are temperature_c, ph,")


@pytest.mark.parametrize(
    ("part", "value", "message"),
    [
        ("plus_minus", -1, "Plus or minus must be from 0 to 10000"),
        ("dilution_factor", 0.5, "Dilution factor must be from 1 to 1000"),
        ("bound", "~", "Must be one of <, >"),
        ("at", "yesterday", "Must be a time such as 2026-06-01T09:30:00+01:00"),
        ("at", 12, "Must be a time such as 2026-06-01T09:30:00+01:00"),
    ],
)
def test_part_of_a_reading_that_makes_no_sense_is_refused(part, value, message):
    assert faults({"free_chlorine_mg_l": {"value": 3, part: value}}) == {
        f"readings.free_chlorine_mg_l.{part}": message
    }


def test_ph_of_a_diluted_sample_is_refused():
    """Dilution shifts the pH itself (common practice, no source)."""
    assert faults({"ph": {"value": 7.4, "dilution_factor": 2}}) == {
        "readings.ph": "pH cannot be read on a diluted sample"
    }


def test_dilution_may_not_carry_a_reading_past_its_limit():
    assert faults({"free_chlorine_mg_l": {"value": 30, "dilution_factor": 5}}) == {
        "readings.free_chlorine_mg_l": "Free chlorine must be from 0 to 100 mg/L as Cl2"
    }


def test_total_chlorine_below_free_is_refused():
    found = faults({"free_chlorine_mg_l": 3.2, "total_chlorine_mg_l": 3})

    assert found == {
        "readings.total_chlorine_mg_l": (
            "Total chlorine must be at least the free chlorine, 3.2 mg/L as Cl2: repeat both tests"
        )
    }


def test_total_chlorine_that_is_only_a_bound_does_not_contradict_the_free():
    read = parse_readings({"free_chlorine_mg_l": 3.2, "total_chlorine_mg_l": {"value": 3, "bound": ">"}})

    assert read["total_chlorine_mg_l"].bound == ">"


def test_readings_must_be_an_object():
    assert faults([7.4]) == {"readings": "Readings must be an object of names and values"}


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("temperature_c", "Water temperature is needed"),
        ("ph", "pH is needed"),
        ("total_alkalinity_mg_l", "Total alkalinity is needed"),
    ],
)
def test_water_needs_temperature_ph_and_alkalinity(name, label):
    readings = parse_readings({key: value for key, value in SPA.items() if key != name})

    with pytest.raises(InputError) as refused:
        water_from_readings(readings)
    assert refused.value.errors == (FieldError(f"readings.{name}", label),)


def test_water_names_what_it_took_as_zero():
    assert water_from_readings(parse_readings(SPA))[1] == [
        "cyanuric_acid_mg_l",
        "borate_mg_l",
        "free_chlorine_mg_l",
        "total_bromine_mg_l",
        "bromide_mg_l",
    ]


def test_water_names_a_reading_that_was_only_a_bound():
    readings = parse_readings({**SPA, "free_chlorine_mg_l": {"value": 10, "bound": ">"}})

    assert "free_chlorine_mg_l" in water_from_readings(readings)[1]


def test_ph_that_can_be_typed_but_not_solved_is_refused():
    with pytest.raises(InputError, match=r"readings\.ph: .* pH from 2 to 12 only"):
        water_from_readings(parse_readings({**SPA, "ph": 12.5}))


def test_alkalinity_that_the_ph_rules_out_is_refused():
    """At pH 3.5 an alkalinity of 100 would need some 2 mol/L of carbon dioxide, far above one atmosphere."""
    with pytest.raises(InputError, match=r"readings\.total_alkalinity_mg_l: .* impossible at this pH"):
        water_from_readings(parse_readings({**SPA, "ph": 3.5}))


def test_hydroxide_alone_can_exceed_the_alkalinity_that_was_read():
    with pytest.raises(InputError, match=r"readings\.total_alkalinity_mg_l: .* retest both"):
        water_from_readings(parse_readings({**SPA, "ph": 11.5}))


@given(st.sampled_from(sorted(PARAMETERS)), st.decimals(0, 1, places=6))
def test_any_number_inside_the_limits_is_kept_exactly(name, share):
    parameter = PARAMETERS[name]
    low, high = Decimal(repr(parameter.low)), Decimal(repr(parameter.high))
    value = low + share * (high - low)

    assert parse_readings({name: value})[name].typed == value
