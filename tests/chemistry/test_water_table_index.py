"""The trade's index by table, beside and apart from the calcite index."""

import pytest

from service.chemistry.table_index import (
    ALKALINITY_FACTOR,
    AMOUNT_MG_L,
    HARDNESS_FACTOR,
    TEMPERATURE_F,
    TEMPERATURE_FACTOR,
    table_saturation_index,
)
from service.chemistry.units import celsius_from_fahrenheit

WATER = {
    "ph": 7.5,
    "temperature_c": 38.0,
    "calcium_hardness_mg_l": 150.0,
    "total_alkalinity_mg_l": 100.0,
    "total_dissolved_solids_mg_l": 500.0,
}


@pytest.mark.parametrize(
    ("ph", "fahrenheit", "hardness", "alkalinity", "index"),
    [(7.0, 76, 200, 50, -0.9), (7.6, 84, 300, 75, 0.2), (8.0, 94, 400, 150, 1.1)],
    ids=["S1", "S2", "S3"],
)
def test_worked_examples_of_a_training_course(ph, fahrenheit, hardness, alkalinity, index):
    """Three problems of a pool operators' training page; factors: Montana ARM 37.115.1309, Table 7."""
    found = table_saturation_index(
        ph=ph,
        temperature_c=celsius_from_fahrenheit(fahrenheit),
        calcium_hardness_mg_l=hardness,
        total_alkalinity_mg_l=alkalinity,
        total_dissolved_solids_mg_l=500,
    )

    assert round(found, 1) == index


def test_table_has_eleven_rows_of_rising_factors():
    for rows, factors in (
        (TEMPERATURE_F, TEMPERATURE_FACTOR),
        (AMOUNT_MG_L, HARDNESS_FACTOR),
        (AMOUNT_MG_L, ALKALINITY_FACTOR),
    ):
        assert len(rows) == len(factors) == 11
        assert sorted(rows) == list(rows)
        assert sorted(factors) == list(factors)


def test_salty_water_has_a_tenth_less():
    """Montana ARM 37.115.1309(1): 12.1 below 1000 ppm of dissolved solids, 12.2 above."""
    fresh = table_saturation_index(**WATER)
    salty = table_saturation_index(**{**WATER, "total_dissolved_solids_mg_l": 1500.0})

    assert fresh - salty == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("name", "outside"),
    [("temperature_c", 54.0), ("calcium_hardness_mg_l", 4.0), ("total_alkalinity_mg_l", 1001)],
)
def test_there_is_no_index_outside_the_table(name, outside):
    assert table_saturation_index(**{**WATER, name: outside}) is None


def test_ends_of_the_table_belong_to_it():
    assert table_saturation_index(**{**WATER, "calcium_hardness_mg_l": 5.0}) is not None
    assert table_saturation_index(**{**WATER, "calcium_hardness_mg_l": 1000.0}) is not None
