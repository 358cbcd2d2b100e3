"""Where a reading stands on its band line, and what the words beside it say."""

from decimal import Decimal

import pytest

from service.shell.bandline import BandLine, band_line, judge


def _ph(**values: object) -> BandLine:
    limits = {"lowest": 6, "highest": 9, "low": Decimal("7.2"), "high": Decimal("7.8")}
    return band_line(name="pH", **(limits | values))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "judgement"),
    [("7.1", "below"), ("7.2", "within"), ("7.20", "within"), ("7.8", "within"), ("7.81", "above")],
    ids=["below", "at the low limit", "typed with a zero more", "at the high limit", "just above"],
)
def test_limits_are_inclusive_and_judged_as_typed(value: str, judgement: str) -> None:
    assert _ph(value=Decimal(value)).judgement == judgement


def test_a_difference_of_readings_is_judged_without_binary_noise() -> None:
    # 4.4 − 4.0 is 0.4 in Decimal and 0.40000000000000036 in binary floating point.
    assert judge(Decimal("4.4") - Decimal("4.0"), None, Decimal("0.4")) == "within"


def test_positions_run_from_the_lowest_to_the_highest_value() -> None:
    line = _ph(value=Decimal("7.5"), plus_minus=Decimal("0.3"))

    assert line.value
    assert line.value.at == pytest.approx(0.5)
    assert line.whisker == pytest.approx((0.4, 0.6))
    assert line.band == pytest.approx((0.4, 0.6))


def test_a_value_off_the_end_stays_on_the_line_and_says_so() -> None:
    line = _ph(value=Decimal("9.5"))

    assert line.value
    assert (line.value.at, line.value.beyond) == (1.0, 1)
    assert line.words == "pH 9.5, above 7.8"


def test_a_one_sided_limit_reaches_to_the_end_of_the_line() -> None:
    line = band_line(name="Temperature", unit="°C", lowest=0, highest=50, high=40, value=Decimal("38.0"))

    assert line.band == (0.0, 0.8)
    assert line.words == "Temperature 38.0 °C, within 40 or less"


def test_the_words_say_the_last_and_the_expected_value() -> None:
    line = _ph(value=Decimal("8.1"), plus_minus=Decimal("0.1"), last=Decimal("7.6"), expected=Decimal("7.5"))

    assert line.words == "pH 8.1 ± 0.1, above 7.8"
    assert line.also == ("guideline 7.2 to 7.8", "last time 7.6", "expected after dosing 7.5")


def test_a_reading_beyond_its_method_says_less_than() -> None:
    line = band_line(name="Free chlorine", unit="mg/L", lowest=0, highest=10, low=3, value=1, bound="<")

    assert line.words == "Free chlorine less than 1 mg/L, below 3"


def test_no_value_says_not_measured() -> None:
    assert _ph().words == "pH not measured"
    assert _ph().judgement == ""


def test_ends_the_wrong_way_round_are_refused() -> None:
    with pytest.raises(ValueError, match="must be below"):
        band_line(name="pH", lowest=9, highest=6)
