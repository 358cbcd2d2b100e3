"""A number field says its limit and unit in words, and never throws away what was typed."""

from decimal import Decimal

import pytest
from django import forms

from tests.shell.gallery import GalleryForm

FULL = {"name": "North", "volume": "1250", "chlorine": "3.2", "shell": "acrylic", "cover": "yes"}


def _form(**typed: str) -> GalleryForm:
    return GalleryForm(FULL | typed)


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("20", "Volume must be from 100 to 20,000 L."),
        ("20001", "Volume must be from 100 to 20,000 L."),
        ("big", "Volume must be a number, from 100 to 20,000 L."),
        ("NaN", "Volume must be a number, from 100 to 20,000 L."),
        ("1e99", "Volume must be from 100 to 20,000 L."),
        ("1250.5", "Volume must be a whole number."),
        ("1,250", "Write 1250 or 1.250: a comma can mean either."),
        ("", "Volume is missing: a number from 100 to 20,000 L."),
    ],
    ids=["low", "high", "words", "not a number", "huge", "decimals", "ambiguous comma", "missing"],
)
def test_a_wrong_number_is_told_with_limit_and_unit(typed: str, message: str) -> None:
    form = _form(volume=typed)

    assert form.errors["volume"] == [message]
    assert form["volume"].value() == typed


def test_a_decimal_comma_is_read_as_a_point() -> None:
    form = _form(chlorine="3,2")

    assert form.is_valid()
    assert form.cleaned_data["chlorine"] == Decimal("3.2")


def test_the_error_stands_beside_its_field_and_is_tied_to_it() -> None:
    html = _form(volume="20").as_div()

    assert 'aria-invalid="true"' in html
    assert 'aria-describedby="id_volume_helptext id_volume_error"' in html
    assert html.index('id="id_volume_error"') < html.index('name="volume"')


def test_what_may_stay_empty_says_so() -> None:
    field = GalleryForm()["notes"]

    assert isinstance(field, forms.BoundField)
    assert "(may stay empty)" in field.as_field_group()
