"""Past readings are history only: shown as imported, never judged, no record, and they make no spa fit."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from service.sites.models import Spa
from service.visits.fitness import fitness_of
from service.visits.imported import MARK, imported_readings
from service.visits.models import ImportedReading, Reading, Record, Visit
from tests.importing.listing import effects, problems, uploaded, written
from tests.personas import Firm


@pytest.fixture
def spa(in_firm: Firm) -> Spa:
    Spa.objects.filter(pk=in_firm.spa.pk).update(reference="T1")
    return Spa.objects.select_related("site__client", "organisation").get(pk=in_firm.spa.pk)


def test_each_value_is_kept_as_typed_with_unit_bound_and_method(in_firm: Firm, spa: Spa) -> None:
    text = "spa_reference;taken_at;method;ph;free_chlorine_mg_l;temperature_c;total_alkalinity_mg_l\n"

    written(in_firm, "reading", text + "T1;14.06.2025 10:30;Photometer;7,4;<0.1;100 °F;95 ppm\n")

    kept = {one.parameter: one for one in ImportedReading.objects.all()}
    assert kept["ph"].value == Decimal("7.4")
    assert (kept["free_chlorine_mg_l"].bound, kept["free_chlorine_mg_l"].value) == ("<", Decimal("0.1"))
    # NIST SP 811, appendix B.8: t/°C = (t/°F − 32) / 1.8.
    assert kept["temperature_c"].value == Decimal("37.7778")
    assert (kept["temperature_c"].typed, kept["temperature_c"].typed_unit) == ("100", "°F")
    assert kept["total_alkalinity_mg_l"].value == 95
    assert {one.method for one in kept.values()} == {"photometer"}


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("2025-06-14 10:30", datetime(2025, 6, 14, 9, 30, tzinfo=UTC)),
        ("2025-06-14T10:30:15+02:00", datetime(2025, 6, 14, 8, 30, 15, tzinfo=UTC)),
        ("14.06.2025 10:30", datetime(2025, 6, 14, 9, 30, tzinfo=UTC)),
        ("2025-01-14", datetime(2025, 1, 14, 12, 0, tzinfo=UTC)),
    ],
)
def test_a_time_is_the_firms_unless_it_says_otherwise(
    in_firm: Firm, spa: Spa, typed: str, expected: datetime
) -> None:
    in_firm.organisation.time_zone = "Europe/London"
    in_firm.organisation.save()
    in_firm.office.organisation.time_zone = "Europe/London"

    written(in_firm, "reading", f"spa_reference,taken_at,ph\nT1,{typed},7.4\n")

    assert ImportedReading.objects.get().taken_at == expected


@pytest.mark.parametrize(
    ("row", "column", "said"),
    [
        ("T9,2025-06-14 10:30,7.4", "spa_reference", "No spa has the reference “T9”."),
        ("T1,14th of June,7.4", "taken_at", "is no time: write 2026-05-31 14:30 or 31.05.2026 14:30."),
        ("T1,2999-06-14 10:30,7.4", "taken_at", "A test cannot lie in the future."),
        ("T1,2025-06-14 10:30,17", "ph", "pH must be from 0 to 14."),
        ("T1,2025-06-14 10:30,7.4 mg/L", "ph", "pH is read in no unit, not in mg/L."),
        ("T1,2025-06-14 10:30,about 7", "ph", "pH must be a number from 0 to 14"),
        ("T1,2025-06-14 10:30,", "", "Nothing was read"),
    ],
)
def test_an_error_stands_at_its_cell(in_firm: Firm, spa: Spa, row: str, column: str, said: str) -> None:
    listing = uploaded(in_firm, "reading", f"spa_reference,taken_at,ph\n{row}\n")

    ((number, where, message),) = problems(listing)
    assert (number, where) == (2, column)
    assert said in message


def test_the_same_reading_again_changes_nothing_and_another_value_changes_it(in_firm: Firm, spa: Spa) -> None:
    head = "spa_reference,taken_at,ph,temperature_c\n"
    written(in_firm, "reading", head + "T1,2025-06-14 10:30,7.4,\n")

    assert effects(uploaded(in_firm, "reading", head + "T1,2025-06-14 10:30,7.4,\n")) == ["same"]
    written(in_firm, "reading", head + "T1,2025-06-14 10:30,7.6,38\n")

    assert sorted(ImportedReading.objects.values_list("parameter", "typed")) == [
        ("ph", "7.6"),
        ("temperature_c", "38"),
    ]


def test_they_are_no_record_and_make_no_spa_fit(in_firm: Firm, spa: Spa) -> None:
    now = timezone.now()
    before = fitness_of(spa, now)
    at = (now - timedelta(minutes=10)).isoformat()

    written(
        in_firm,
        "reading",
        "spa_reference,taken_at,ph,free_chlorine_mg_l,temperature_c,total_alkalinity_mg_l\n"
        + f"T1,{at},7.4,4,38,100\n",
    )

    assert fitness_of(spa, timezone.now()).state == before.state == "not_tested"
    assert not Visit.objects.exists()
    assert not Reading.objects.exists()
    assert not Record.objects.exists()


def test_the_history_shows_them_marked_and_so_does_the_owners_page(
    in_firm: Firm, spa: Spa, sign_in: Any
) -> None:
    at = (timezone.now() - timedelta(days=3)).isoformat()
    written(in_firm, "reading", f"spa_reference,taken_at,ph\nT1,{at},7.4\n")

    found = imported_readings(spa, since=timezone.now() - timedelta(days=90), parameters=["ph"])
    assert [one.typed for one in found["ph"]] == ["7.4"]
    history = sign_in(in_firm.technician).get(f"/visits/spas/{spa.pk}/history/").content.decode()
    tub = sign_in(in_firm.rental_manager).get(f"/reports/tubs/{spa.pk}/").content.decode()
    assert MARK in history
    assert MARK in tub
