"""The error of a reading by method, and one strip pad read in two halogens."""

from decimal import Decimal
from fractions import Fraction

import pytest
from periodictable import Br, Cl

from service.chemistry.uncertainty import BROMINE_PER_CHLORINE, METHODS, plus_minus, strip_pad


@pytest.mark.parametrize(
    ("parameter", "value", "method", "expected"),
    # from memory: photometer pH 0.1, FC 0.1 + 5 %, TA and CH 10 %; strip pH 0.4, FC 30 %, TA 40 mg/L
    [
        ("ph", 7.4, "photometer", 0.1),
        ("free_chlorine_mg_l", 3.0, "photometer", 0.25),
        ("total_alkalinity_mg_l", 120, "photometer", 12),
        ("calcium_hardness_mg_l", 200, "photometer", 20),
        ("ph", 7.4, "strip", 0.4),
        ("free_chlorine_mg_l", 3.0, "strip", 0.9),
        ("total_alkalinity_mg_l", 120, "strip", 40),
        # own choice, no source: one drop of a kit for 10 mL
        ("free_chlorine_mg_l", 3.0, "drops", 0.5),
        ("total_alkalinity_mg_l", 120, "drops", 10),
    ],
)
def test_the_error_follows_the_method(parameter, value, method, expected):
    assert plus_minus(parameter, value, method) == pytest.approx(expected)


@pytest.mark.parametrize("method", ["strip", "photometer", None])
def test_the_instruments_own_figure_comes_first(method):
    assert plus_minus("ph", 7.4, method, given=0.02) == 0.02


@pytest.mark.parametrize(
    ("parameter", "method"), [("ph", None), ("ph", "guess"), ("turbidity_ntu", "photometer")]
)
def test_no_error_is_made_up_where_none_is_known(parameter, method):
    assert plus_minus(parameter, 1.0, method) == 0.0


def test_a_strip_is_never_taken_as_better_than_a_photometer():
    for parameter, error in METHODS["strip"].items():
        for value in (1, 7.4, 100):
            assert error.of(value) >= METHODS["photometer"][parameter].of(value)


def test_the_factor_between_the_halogens_is_exact():
    assert Fraction(159808, 70906) == BROMINE_PER_CHLORINE
    # periodictable 2.1.0: atomic masses of bromine and chlorine
    assert float(BROMINE_PER_CHLORINE) == pytest.approx(Br.mass / Cl.mass, rel=1e-4)


@pytest.mark.parametrize(
    ("value", "scale", "sanitiser", "parameter", "expected"),
    [
        ("1", "chlorine", "bromine", "total_bromine_mg_l", "2.2538"),
        ("3", "chlorine", "bromine", "total_bromine_mg_l", "6.7614"),
        ("6.7614", "bromine", "chlorine", "free_chlorine_mg_l", "3.0000"),
    ],
)
def test_one_pad_is_converted_to_the_halogen_in_use(value, scale, sanitiser, parameter, expected):
    # 159.808 / 70.906, computed
    pad = strip_pad(Decimal(value), scale=scale, sanitiser=sanitiser)
    assert (pad.parameter, round(pad.value, 4)) == (parameter, Decimal(expected))
    assert pad.converted


def test_the_record_says_that_a_pad_was_converted():
    pad = strip_pad(Decimal("5.0"), scale="bromine", sanitiser="chlorine")
    assert pad.note == (
        "Read as 5.0 mg/L on the bromine scale of the strip,"
        " converted to 2.22 mg/L chlorine (70.906/159.808)."
    )


def test_a_pad_read_on_its_own_scale_stays_as_typed():
    pad = strip_pad(Decimal("3.0"), scale="chlorine", sanitiser="chlorine")
    assert (pad.value, pad.converted, pad.note) == (Decimal("3.0"), False, "")


@pytest.mark.parametrize(("scale", "sanitiser"), [("iodine", "chlorine"), ("chlorine", "other")])
def test_a_pad_cannot_be_read_for_another_system(scale, sanitiser):
    with pytest.raises(ValueError, match="chlorine or bromine"):
        strip_pad(Decimal(3), scale=scale, sanitiser=sanitiser)
