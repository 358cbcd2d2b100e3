"""A spa's water over time: one axis, what happened beside what was read, bounded for years of visits."""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from accounts.roles import Role
from service.sites.models import Spa
from service.visits.amend import amend_record
from service.visits.closures import close_spa
from service.visits.history import (
    MOST_ROWS,
    RANGES,
    WaterHistory,
    range_asked,
    water_history,
)
from service.visits.imported import MARK, MOST_SHOWN
from service.visits.models import (
    ImportedReading,
    Moment,
    Reading,
    Record,
    StepState,
    Task,
    TaskKind,
    TaskState,
    Visit,
    VisitState,
)
from tests.factories import VisitFactory
from tests.personas import Firm
from tests.visits.working import GOOD, MORNING, product, read, ready, sign, started, with_plan

NOW = MORNING
HISTORY = "/visits/spas/{}/history/"
TUB = "/reports/tubs/{}/"


def loaded(firm: Firm) -> Spa:
    return Spa.objects.select_related("site__client__organisation", "organisation").get(pk=firm.spa.pk)


def history(firm: Firm, days: str = "90", *, signed_only: bool = False) -> WaterHistory:
    return water_history(loaded(firm), asked=range_asked(days), now=timezone.now(), signed_only=signed_only)


def old_visit(firm: Firm, at: datetime, values: dict[str, str], moment: str = Moment.BEFORE) -> Visit:
    """A visit of another day with its readings, laid down without the use cases."""
    visit = VisitFactory(spa=firm.spa, technician=firm.technician, planned_on=at.date(), started_at=at)
    Reading.objects.bulk_create(
        Reading(
            organisation=firm.organisation,
            visit=visit,
            parameter=name,
            moment=moment,
            typed=value,
            typed_unit="",
            value=Decimal(value),
            taken_at=at,
            taken_by=firm.technician,
        )
        for name, value in values.items()
    )
    return visit


def imported(firm: Firm, *moments: datetime, **values: str) -> None:
    ImportedReading.objects.bulk_create(
        ImportedReading(
            organisation=firm.organisation,
            spa=firm.spa,
            parameter=name,
            taken_at=at,
            typed=value,
            value=Decimal(value),
            list_key=firm.spa.pk,
            list_name="Old book",
            imported_by=firm.owner,
        )
        for at in moments
        for name, value in values.items()
    )


@pytest.mark.django_db(databases=[])
@pytest.mark.parametrize(
    ("key", "days"), [("30", 30), ("90", 90), ("365", 365), ("all", None), ("", 90), ("-1", 90), ("x", 90)]
)
def test_the_address_says_the_days_and_anything_else_means_ninety(key: str, days: int | None) -> None:
    assert range_asked(key).days == days


@pytest.mark.parametrize(("key", "values"), [("30", ["7.6"]), ("90", ["7.5", "7.6"])])
def test_a_range_shows_its_days_alone(in_firm: Firm, key: str, values: list[str]) -> None:
    for days_ago, value in ((400, "7.2"), (60, "7.5"), (5, "7.6")):
        old_visit(in_firm, NOW - timedelta(days=days_ago), {"ph": value})

    [plot] = history(in_firm, key).plots

    assert [str(point.value) for point in plot.points] == values


def test_all_plots_and_the_lane_share_one_axis_that_begins_with_what_is_known(in_firm: Firm) -> None:
    old_visit(in_firm, NOW - timedelta(days=400), GOOD)

    found = history(in_firm, "all")

    assert found.days == 401
    assert {(plot.start, plot.end) for plot in found.plots} == {(found.lane.start, found.lane.end)}
    assert history(in_firm, "30").plots == []


def test_combined_chlorine_is_total_less_free_of_the_same_moment(in_firm: Firm) -> None:
    values = {"free_chlorine_mg_l": "4.0", "total_chlorine_mg_l": "4.4"}
    old_visit(in_firm, NOW - timedelta(days=3), values)
    old_visit(in_firm, NOW - timedelta(days=2), {"free_chlorine_mg_l": "4.0"})
    old_visit(in_firm, NOW - timedelta(days=1), {"total_chlorine_mg_l": "4.0"})

    found = history(in_firm)

    [combined] = [plot for plot in found.plots if plot.name == "Combined chlorine"]
    assert [str(point.value) for point in combined.points] == ["0.4"]
    assert "Total chlorine" not in {plot.name for plot in found.plots}


def test_the_table_holds_the_numbers_of_the_plots_and_says_where_they_stand(in_firm: Firm) -> None:
    old_visit(in_firm, NOW - timedelta(days=3), {"ph": "8.1", "temperature_c": "38"})

    [row] = history(in_firm).rows

    assert [(cell.name, cell.figure, cell.standing) for cell in row.cells] == [
        ("pH", "8.1", "above"),
        ("Water temperature", "38", "within"),
    ]


def test_a_drain_an_unsigned_visit_and_an_amendment_are_told(in_firm: Firm) -> None:
    visit = old_visit(in_firm, NOW - timedelta(days=9), {"ph": "7.4"})
    Task.objects.create(
        organisation=in_firm.organisation,
        visit=visit,
        kind=TaskKind.DRAIN_REFILL,
        state=TaskState.DONE,
        done_at=NOW - timedelta(days=9),
        done_by=in_firm.technician,
    )
    VisitFactory(
        spa=in_firm.spa,
        state=VisitState.NO_ACCESS,
        end_reason="Gate locked",
        ended_at=NOW - timedelta(days=4),
    )
    sign(in_firm, ready(in_firm))
    amended = {"corrects": "pH", "was": "7.4", "becomes": "7.5", "reason": "Read the wrong row"}
    amend_record(record=Record.objects.get(), by=in_firm.technician, **amended)

    found = history(in_firm)

    assert list(found.lane.rows) == ["Drained and refilled", "Record amended", "Visit not signed"]
    told = [row.words for row in found.rows if not row.cells]
    assert told == ["Record amended: pH", "Visit not signed: no access", "Drained and refilled"]
    # A plot is crossed where the water was changed, and by neither of the others.
    assert [plot.rules for plot in found.plots] == [[NOW - timedelta(days=9)]] * len(found.plots)


def test_a_closure_lasts_in_the_picture_until_a_reading_reopens_the_spa(
    in_firm: Firm, clock: time_machine.Traveller
) -> None:
    close_spa(spa=in_firm.spa, reason="Cloudy", by=in_firm.technician)
    [standing] = history(in_firm).lane.rows["Closed"]
    clock.shift(timedelta(hours=2))
    sign(in_firm, ready(in_firm))

    [ended] = history(in_firm).lane.rows["Closed"]

    assert standing.until is None
    assert ended.until is not None
    assert ended.at < ended.until
    assert "Closed: Cloudy" in {row.words for row in history(in_firm).rows}


@pytest.mark.parametrize(("grams", "told"), [(20, []), (30, ["Large dose: 60 g Acid salt"])])
def test_doses_of_one_visit_are_large_together_when_they_reach_the_largest_single_dose(
    in_firm: Firm, grams: int, told: list[str]
) -> None:
    """The house's cap for sodium bisulfate is 20 g/m³ as bought: 50 g in 2500 L; caps.py says so."""
    in_firm.spa.volume_l = 2500
    in_firm.spa.save()
    acid = product(in_firm, "Acid salt")
    visit = read(in_firm, started(in_firm), GOOD)
    for step in with_plan(visit, [(acid, str(grams), 30), (acid, str(grams), 30)]):
        if step.action == "add":
            step.state, step.done_at, step.actual_mass_g = StepState.DONE, timezone.now(), Decimal(grams)
            step.done_by = in_firm.technician
            step.save()

    assert [row.words for row in history(in_firm).rows if not row.cells] == told


def test_imported_readings_are_hollow_and_stand_in_one_row(in_firm: Firm) -> None:
    imported(in_firm, NOW - timedelta(days=5), ph="7.4", free_chlorine_mg_l="3", total_chlorine_mg_l="3.5")

    found = history(in_firm)

    assert found.has_imported
    assert all(point.hollow for plot in found.plots for point in plot.points)
    [row] = found.rows
    assert row.words == MARK
    assert [cell.figure for cell in row.cells] == ["3", "0.5", "7.4"]


def test_readings_that_nobody_signed_are_marked_and_kept_from_the_rental_manager(
    in_firm: Firm, sign_in: Any
) -> None:
    read(in_firm, started(in_firm), GOOD)
    office, manager = sign_in(in_firm.office), sign_in(in_firm.rental_manager)

    assert "Before dosing, not signed" in office.get(HISTORY.format(in_firm.spa.pk)).text
    for address in (HISTORY, TUB):
        assert "Nothing was read in these days." in manager.get(address.format(in_firm.spa.pk)).text


def test_more_than_a_page_can_show_is_said_in_words(in_firm: Firm, sign_in: Any) -> None:
    imported(in_firm, *(NOW - timedelta(days=20, minutes=number) for number in range(MOST_SHOWN)), ph="7.4")

    words = sign_in(in_firm.office).get(HISTORY.format(in_firm.spa.pk)).text

    assert "The oldest readings of these days are missing" in words
    assert f"Listed are the newest {MOST_ROWS} of {MOST_SHOWN} rows." in words


@pytest.mark.parametrize(("address", "role"), [(HISTORY, Role.OFFICE), (TUB, Role.RENTAL_MANAGER)])
def test_years_of_visits_cost_no_more_queries_and_no_heavier_page(
    address: str,
    role: Role,
    in_firm: Firm,
    sign_in: Any,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    for week in range(150):
        old_visit(in_firm, NOW - timedelta(days=7 * week + 1), GOOD)
    if role == Role.RENTAL_MANAGER:
        Visit.objects.update(state=VisitState.SIGNED, ended_at=NOW, verdict="fit_now", holds_until=NOW)
    browser = sign_in(in_firm.people[role])

    with django_assert_max_num_queries(12):
        answer = browser.get(address.format(in_firm.spa.pk), {"days": "all"})

    assert "The water over the last 1045 days" in answer.text
    assert len(answer.content) < 150_000


def test_every_range_is_a_link_and_the_one_shown_says_so(in_firm: Firm, sign_in: Any) -> None:
    old_visit(in_firm, NOW - timedelta(days=3), GOOD)

    words = sign_in(in_firm.office).get(HISTORY.format(in_firm.spa.pk), {"days": "365"}).text

    assert [f'href="?days={one.key}#water-head"' in words for one in RANGES] == [True] * 4
    assert words.count('aria-current="true"') == 1
    assert '<a href="?days=365#water-head" aria-current="true">' in words
