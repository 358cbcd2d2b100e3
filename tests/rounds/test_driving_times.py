"""The office's page of driving times: what was learned, drives it knows better, and what a plan says."""

from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from accounts.models import AuditEvent
from service.rounds.hand_drives import enter_drive, known_drives
from service.rounds.models import HandDrive, TechnicianBase
from service.rounds.round_settings import change_round_settings, round_settings
from service.rounds.travel import travel_times_for
from tests.factories import HandDriveFactory, SpaFactory, TechnicianBaseFactory
from tests.personas import Firm
from tests.rounds.roads.made_drives import a_morning, signed_day, three_spas
from tests.rounds.week_scene import MONDAY, agreed, at_work, planned_from_rows, spas_around

PAGE = "rounds:driving_times"


@pytest.fixture
def office(in_firm: Firm, sign_in: Any) -> Any:
    return sign_in(in_firm.office)


def drove(firm: Firm, ratio: float, days: int) -> None:
    """Two drives a day of 10 km straight, 1,020 s as predicted, that took ``ratio`` times as long."""
    spas = three_spas(firm)
    for day in range(1, days + 1):
        signed_day(firm, spas, a_morning(day), [round(1020 * ratio)] * 2)


def test_few_drives_are_told_and_offer_no_factor(office: Any, in_firm: Firm) -> None:
    drove(in_firm, 1.2, days=3)

    page = office.get(reverse(PAGE)).content.decode()

    assert "6 drives measured; 30 are needed to learn from." in page
    assert "Plan with" not in page
    told = office.post(reverse("rounds:factor"), {"use": "learned"}, follow=True).content.decode()
    assert "30 are needed" in told
    assert round_settings(in_firm.organisation).road_factor == 1


def test_a_learned_factor_is_shown_with_its_error_then_used_then_dropped(office: Any, in_firm: Firm) -> None:
    drove(in_firm, 1.25, days=20)

    page = office.get(reverse(PAGE)).content.decode()
    assert "Drives take 1.25 times the predicted time (median of 40 drives)." in page
    # 1 / 1.25 is 0.8: without a factor every one of these drives is foretold 20 % too short.
    assert "At most 20 % with the factor in use, 0 % with × 1.25" in page

    office.post(reverse("rounds:factor"), {"use": "learned"})
    assert round_settings(in_firm.organisation).road_factor == Decimal("1.25")
    page = office.get(reverse(PAGE)).content.decode()
    assert "At most 0 % with the factor in use" in page
    assert "Plan with ×" not in page
    office.post(reverse("rounds:factor"), {"use": "none"})
    assert round_settings(in_firm.organisation).road_factor == 1
    assert AuditEvent.objects.filter(action="round_settings.changed").exists()


def test_the_source_that_cannot_be_asked_is_said_and_drives_are_still_listed(
    office: Any, in_firm: Firm
) -> None:
    drove(in_firm, 1.2, days=1)
    change_round_settings(by=in_firm.office, road_source="server", server_url="http://127.0.0.1:9/")
    HandDriveFactory(site=in_firm.site, other_site=in_firm.hidden_site, minutes=25)

    page = office.get(reverse(PAGE)).content.decode()

    assert "▲" in page
    assert "25 min" in page


class TestByHand:
    @pytest.fixture
    def ends(self, in_firm: Firm) -> tuple[Any, TechnicianBase]:
        site = spas_around(in_firm, 2)[1].site
        return site, TechnicianBaseFactory(technician=in_firm.technician)

    def test_a_drive_is_entered_shown_and_taken_back(self, office: Any, ends: Any) -> None:
        site, base = ends
        given = {"site": site.pk, "other_base": base.pk, "minutes": "25", "km": "12.5"}
        page = office.post(reverse("rounds:drive_new"), given, follow=True).content.decode()
        drive = HandDrive.objects.get()
        assert (drive.minutes, drive.km) == (25, Decimal("12.5"))
        assert "Site 001 to Yard" in page
        office.post(reverse("rounds:drive_remove", args=[drive.pk]))
        assert not HandDrive.objects.exists()
        trail = AuditEvent.objects.filter(action__startswith="drive.").values_list("action", flat=True)
        assert set(trail) == {"drive.entered", "drive.removed"}

    @pytest.mark.parametrize(
        ("more", "says"),
        [
            ({}, "Choose the other place"),
            ({"other": "site"}, "The other place must be another one."),
            ({"other": "both"}, "Choose one other place, not two."),
            ({"other": "base", "minutes": "0"}, "The drive takes must be from 1 to 600 min."),
            ({"other": "base", "km": "2000"}, "Length must be from 0.1 to 1,000 km."),
        ],
    )
    def test_what_leads_nowhere_is_told_at_its_field(
        self, office: Any, ends: Any, more: dict[str, str], says: str
    ) -> None:
        site, base = ends
        given = {"site": site.pk, "minutes": "25", **more}
        other = given.pop("other", "")
        given |= {"other_site": site.pk} if other in ("site", "both") else {}
        given |= {"other_base": base.pk} if other in ("base", "both") else {}
        assert says in office.post(reverse("rounds:drive_new"), given).content.decode()
        assert not HandDrive.objects.exists()

    def test_a_pair_stands_once_whichever_end_is_named_first(self, in_firm: Firm) -> None:
        one, two = (spa.site for spa in spas_around(in_firm, 2))
        enter_drive(site=one, other_site=two, minutes=10, by=in_firm.office)
        enter_drive(site=two, other_site=one, minutes=14, by=in_firm.office)
        assert HandDrive.objects.get().minutes == 14

    def test_a_place_without_a_position_is_passed_over(self, in_firm: Firm) -> None:
        site = SpaFactory(site__client=in_firm.client, site__latitude=None, site__longitude=None).site
        HandDriveFactory(site=site, other_site=in_firm.site)
        assert known_drives(in_firm.organisation) == []

    def test_a_week_is_planned_with_it_and_says_who_entered_it(self, in_firm: Firm) -> None:
        (spa,) = spas_around(in_firm, 1)
        agreed(spa)
        at_work(in_firm, in_firm.technician)
        base = TechnicianBase.objects.get()
        enter_drive(site=spa.site, other_base=base, minutes=47, by=in_firm.office)

        plan = planned_from_rows(in_firm)

        row = plan.visits.get(day__gte=MONDAY)
        assert row.drive_seconds == 47 * 60
        notes = [note["text"] for note in plan.notes]
        assert any(
            note.startswith("Drive entered by hand: Site 000 to The yard, 47 min (Office") for note in notes
        )
        assert plan.travel_honesty.endswith("1 drive entered by hand")

    def test_another_firms_drives_do_not_count(self, in_firm: Firm, stranger: Firm) -> None:
        HandDriveFactory(site=stranger.site, other_site=stranger.hidden_site)
        assert "by hand" not in travel_times_for(in_firm.organisation).honesty
