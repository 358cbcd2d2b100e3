"""A firm's travel times: its choice of source, what is remembered of it, and its own factor."""

from collections.abc import Sequence
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone
from django_scopes import scope

from service.rounds import travel
from service.rounds.learned_factor import learned_factor
from service.rounds.models import RoadRow, RoadSource, RoundSettings
from service.rounds.road_rows import KEPT_DAYS, RememberedTravel
from service.rounds.roads.straight_line import StraightLine
from service.rounds.roads.times import NO_ROAD, Point, RoadsError, Rows, Travel
from service.visits.models import VisitState
from tests.factories import SpaFactory
from tests.personas import Firm
from tests.rounds.roads.made_drives import a_morning, signed_day, three_spas
from tests.rounds.roads.table_server import RoadServer, running
from tests.rounds.roads.tiny_town import PLACES, at, osm_text, town


class Counting:
    """A source that counts the pairs it is asked for, on the roads of the tiny town."""

    def __init__(self, folder: Path) -> None:
        self._roads = town(folder)
        self.source, self.version = self._roads.source, self._roads.version
        self.honesty, self.attribution = self._roads.honesty, self._roads.attribution
        self.pairs = 0

    def matrix(self, points: Sequence[Point]) -> Travel:
        self.pairs += len(points) ** 2
        return self._roads.matrix(points)

    def rows(self, new: Sequence[Point], points: Sequence[Point]) -> Rows:
        self.pairs += 2 * len(new) * len(points)
        return self._roads.rows(new, points)

    def line(self, start: Point, end: Point) -> list[Point] | None:
        return self._roads.line(start, end)


@pytest.fixture
def source(tmp_path: Path) -> Counting:
    return Counting(tmp_path)


@pytest.fixture
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The machine's roads in a folder of the test's own."""
    folder = tmp_path / "roads"
    monkeypatch.setattr(travel, "FOLDER", folder)
    monkeypatch.setattr(travel, "CURRENT", folder / "current")
    return folder


EVERYWHERE = [at(number) for number in PLACES]


def test_what_was_said_once_is_not_asked_again(in_firm: Firm, source: Counting) -> None:
    first = RememberedTravel(source, in_firm.organisation).matrix(EVERYWHERE)
    source.pairs = 0

    second = RememberedTravel(source, in_firm.organisation).matrix(EVERYWHERE)

    assert second == first
    assert source.pairs == 0


def test_what_is_remembered_is_what_the_source_says(in_firm: Firm, source: Counting) -> None:
    RememberedTravel(source, in_firm.organisation).matrix(EVERYWHERE)
    shuffled = [EVERYWHERE[place] for place in (9, 3, 3, 7, 0, 5)]

    remembered = RememberedTravel(source, in_firm.organisation).matrix(shuffled)

    assert remembered == source.matrix(shuffled)


def test_a_new_site_costs_one_row_and_one_column(in_firm: Firm, source: Counting) -> None:
    remembered = RememberedTravel(source, in_firm.organisation)
    remembered.matrix(EVERYWHERE[:6])
    source.pairs = 0

    grown = remembered.matrix(EVERYWHERE[:7])

    assert source.pairs == 2 * 7
    assert RoadRow.objects.count() == 7
    assert grown == source.matrix(EVERYWHERE[:7])


def test_sites_first_asked_for_apart_are_joined_later(in_firm: Firm, source: Counting) -> None:
    remembered = RememberedTravel(source, in_firm.organisation)
    remembered.matrix(EVERYWHERE[:3])
    remembered.matrix(EVERYWHERE[3:6])

    assert remembered.matrix(EVERYWHERE[:6]) == source.matrix(EVERYWHERE[:6])
    source.pairs = 0
    # The joining did not forget what the rows held before.
    remembered.matrix(EVERYWHERE[3:6])
    assert source.pairs == 0


def test_remembered_drives_are_read_in_one_query(
    in_firm: Firm, source: Counting, django_assert_num_queries: Any
) -> None:
    remembered = RememberedTravel(source, in_firm.organisation)
    remembered.matrix(EVERYWHERE)

    with django_assert_num_queries(1):
        remembered.matrix(EVERYWHERE)


def test_rows_of_other_roads_are_not_read_and_are_swept(
    in_firm: Firm, source: Counting, tmp_path: Path
) -> None:
    RememberedTravel(source, in_firm.organisation).matrix(EVERYWHERE)
    source.version = "other roads"

    RememberedTravel(source, in_firm.organisation).matrix(EVERYWHERE[:4])

    assert set(RoadRow.objects.values_list("version", flat=True)) == {"other roads"}
    assert RoadRow.objects.count() == 4


def test_rows_grow_old(in_firm: Firm, source: Counting) -> None:
    remembered = RememberedTravel(source, in_firm.organisation)
    remembered.matrix(EVERYWHERE)
    RoadRow.objects.update(kept_at=timezone.now() - timedelta(days=KEPT_DAYS, hours=1))
    source.pairs = 0

    remembered.matrix(EVERYWHERE[:2])

    assert source.pairs == 4
    assert RoadRow.objects.count() == 2


def test_another_firms_rows_are_not_read(in_firm: Firm, stranger: Firm, source: Counting) -> None:
    RememberedTravel(source, in_firm.organisation).matrix(EVERYWHERE)
    source.pairs = 0

    with scope(organisation=stranger.organisation):
        RememberedTravel(source, stranger.organisation).matrix(EVERYWHERE)

    assert source.pairs == len(EVERYWHERE) ** 2
    assert RoadRow.objects.count() == len(EVERYWHERE)


def test_nothing_to_drive_is_no_error(in_firm: Firm, source: Counting) -> None:
    assert RememberedTravel(source, in_firm.organisation).matrix([]).seconds == []


def test_the_factor_lengthens_drives_and_says_so(in_firm: Firm, own_folder: Path, tmp_path: Path) -> None:
    file = tmp_path / "town.osm"
    file.write_text(osm_text())
    travel.use_roads(file)
    points = [at(1), at(2), at(8)]
    plain = travel.travel_times(in_firm.organisation, road_source=RoadSource.EXTRACT)
    longer = travel.travel_times(in_firm.organisation, road_source=RoadSource.EXTRACT, road_factor=1.5)

    before, after = plain.matrix(points), longer.matrix(points)

    assert after.seconds[1][0] == round(before.seconds[1][0] * 1.5)
    assert after.seconds[0][2] == NO_ROAD
    assert after.metres == before.metres
    assert after.notes[-1] == "All driving times × 1.5, the firm's factor."
    assert longer.rows(points[:1], points).seconds_out[0] == after.seconds[0]
    assert longer.version != plain.version


def test_the_firms_choice_decides(in_firm: Firm) -> None:
    organisation = in_firm.organisation
    assert travel.travel_times_for(organisation).source == StraightLine().source

    settings = RoundSettings(organisation=organisation, road_source=RoadSource.EXTRACT, road_factor="1.10")
    settings.save()

    chosen = travel.travel_times_for(organisation)
    assert chosen.source == "roads 2013-08-03 (edb2b075)"
    assert chosen.attribution == "© OpenStreetMap contributors"
    assert chosen.matrix([]).notes[-1] == "All driving times × 1.1, the firm's factor."


def test_a_server_that_fails_is_never_replaced_by_straight_lines(in_firm: Firm) -> None:
    with running(RoadServer(lambda start, end: (60, 500), before=lambda path: (500, b""))) as server:
        chosen = travel.travel_times(
            in_firm.organisation, road_source=RoadSource.SERVER, server_url=server.url
        )
        with pytest.raises(RoadsError):
            chosen.matrix(EVERYWHERE)

    assert not RoadRow.objects.exists()


def test_an_unusable_address_is_refused_at_the_field_and_again_when_planning(in_firm: Firm) -> None:
    settings = RoundSettings(
        organisation=in_firm.organisation, road_source=RoadSource.SERVER, server_url="ftp://roads.example"
    )

    with pytest.raises(Exception, match="must begin with http"):
        settings.full_clean(exclude=["organisation"])
    with pytest.raises(RoadsError, match="cannot be used"):
        travel.travel_times(
            in_firm.organisation, road_source=RoadSource.SERVER, server_url="ftp://roads.example"
        )


def test_the_command_builds_and_shows_the_roads(own_folder: Path, tmp_path: Path) -> None:
    file = tmp_path / "town.osm"
    file.write_text(osm_text())
    out = StringIO()

    call_command("roads", "show", stdout=out)
    call_command("roads", "build", str(file), stdout=out)
    call_command("roads", "show", stdout=out)

    first, built, shown = out.getvalue().split("In use: ")[1:]
    assert "roads that come with the demonstration" in first
    assert shown == built
    assert "8 junctions" in built


def test_a_file_that_cannot_be_built_leaves_the_roads_in_use(own_folder: Path, tmp_path: Path) -> None:
    before = travel.roads_of_this_machine().version
    bad = tmp_path / "bad.osm"
    bad.write_text("nothing")

    with pytest.raises(CommandError, match=r"bad\.osm cannot be read"):
        call_command("roads", "build", str(bad), stdout=StringIO())
    with pytest.raises(CommandError, match="No such file"):
        call_command("roads", "build", str(tmp_path / "none.osm"), stdout=StringIO())

    assert travel.roads_of_this_machine().version == before


# --- learning ---------------------------------------------------------------------------------
def test_the_factor_is_learned_from_leaving_one_visit_to_arriving_at_the_next(in_firm: Firm) -> None:
    spas = three_spas(in_firm)
    for day in range(1, 21):
        # Each drive is 10 km straight: 1,020 s predicted, 1,224 s taken.
        signed_day(in_firm, spas, a_morning(day), [1224, 1224])

    learned = learned_factor(in_firm.organisation, StraightLine())

    assert (learned.factor, learned.drives, learned.used) == (1.2, 40, True)


def test_a_visit_that_was_not_signed_breaks_the_chain(in_firm: Firm) -> None:
    spas = three_spas(in_firm)
    refused = {"state": VisitState.NO_ACCESS, "end_reason": "Locked", "verdict": ""}
    for day in range(1, 21):
        signed_day(in_firm, spas, a_morning(day), [1224, 1224], **refused)

    assert learned_factor(in_firm.organisation, StraightLine()).drives == 0


def test_old_visits_and_spas_at_one_site_teach_nothing(in_firm: Firm) -> None:
    spas = three_spas(in_firm)
    neighbours = [SpaFactory(site=spas[0].site), SpaFactory(site=spas[0].site)]
    signed_day(in_firm, neighbours, a_morning(3), [300])
    signed_day(in_firm, spas, a_morning(100), [1224, 1224])

    assert learned_factor(in_firm.organisation, StraightLine()).drives == 0
