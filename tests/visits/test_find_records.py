"""The list of records: found by words and filters that stand in the address, sorted, turned through."""

from datetime import date, timedelta
from typing import Any

import pytest

from service.sites import listing
from service.sites.models import Spa
from service.visits import find_records
from service.visits.models import Verdict, Visit, VisitState
from tests.factories import ClientFactory, PersonFactory, SiteFactory, SpaFactory, VisitFactory
from tests.personas import Firm

URL = "/visits/records/"
DAY = date(2026, 5, 1)


@pytest.fixture
def heron(in_firm: Firm) -> Spa:
    """A spa that no rental manager sees."""
    client = ClientFactory(organisation=in_firm.organisation, name="Fellside Lets")
    return SpaFactory(site=SiteFactory(client=client, name="Heron Cottage"), name="Cedar", reference="FC-7")


def missed(spa: Spa, day: date = DAY, **fields: Any) -> Visit:
    return VisitFactory(spa=spa, planned_on=day, state=VisitState.MISSED, end_reason="Snow", **fields)


def found(browser: Any, **asked: str) -> list[Visit]:
    return list(browser.get(URL, asked).context["listing"].page)


@pytest.mark.parametrize("words", ["cedar", "fc-7", "heron", "fellside", "CEDAR fellside", "cottage lets"])
def test_words_are_looked_for_in_spa_site_and_client(
    words: str, heron: Spa, in_firm: Firm, sign_in: Any
) -> None:
    own, _ = missed(heron), missed(in_firm.spa)

    assert found(sign_in(in_firm.office), q=words) == [own]


def test_every_word_must_stand_somewhere(heron: Spa, in_firm: Firm, sign_in: Any) -> None:
    missed(heron)

    assert found(sign_in(in_firm.office), q="cedar marina") == []


def test_both_days_belong_to_what_is_asked(heron: Spa, in_firm: Firm, sign_in: Any) -> None:
    first, second, _ = (missed(heron, DAY + timedelta(days=days)) for days in range(3))

    shown = found(sign_in(in_firm.office), start=str(DAY), end=str(DAY + timedelta(days=1)))

    assert shown == [second, first]


def test_days_the_wrong_way_round_are_told_at_the_field(heron: Spa, in_firm: Firm, sign_in: Any) -> None:
    missed(heron)

    words = sign_in(in_firm.office).get(URL, {"start": "2026-05-02", "end": "2026-05-01"}).content.decode()

    assert "To must not be before 2026-05-02." in words
    assert 'value="2026-05-01"' in words


def test_a_technician_is_found_by_those_who_see_names(heron: Spa, in_firm: Firm, sign_in: Any) -> None:
    own, _ = missed(heron, technician=in_firm.technician), missed(heron, technician=in_firm.owner)

    assert found(sign_in(in_firm.auditor), technician=str(in_firm.technician.pk)) == [own]


def test_a_rental_manager_is_offered_no_technician_and_cannot_ask_for_one(
    in_firm: Firm, sign_in: Any
) -> None:
    own = missed(in_firm.spa, technician=in_firm.owner)
    browser = sign_in(in_firm.rental_manager)

    answer = browser.get(URL, {"technician": str(in_firm.technician.pk), "sort": "technician"})

    assert list(answer.context["listing"].page) == [own]
    assert in_firm.technician.name not in answer.content.decode()
    assert "Technician" not in answer.content.decode()


def test_words_find_a_rental_manager_nothing_of_others(heron: Spa, in_firm: Firm, sign_in: Any) -> None:
    missed(heron)

    assert found(sign_in(in_firm.rental_manager), q="cedar") == []


@pytest.mark.parametrize(
    ("sort", "order"),
    [
        ("", ["late Aspen", "middle Birch", "early Birch"]),
        ("no such column", ["late Aspen", "middle Birch", "early Birch"]),
        ("day", ["early Birch", "middle Birch", "late Aspen"]),
        ("spa", ["late Aspen", "early Birch", "middle Birch"]),
        ("-spa", ["middle Birch", "early Birch", "late Aspen"]),
        ("technician", ["early Birch", "late Aspen", "middle Birch"]),
    ],
)
def test_the_list_is_sorted_by_its_heads(sort: str, order: list[str], in_firm: Firm, sign_in: Any) -> None:
    people = [PersonFactory(organisation=in_firm.organisation, name=name) for name in ("Ada", "Bo", "Cy")]
    aspen, birch = (SpaFactory(site=in_firm.site, name=name) for name in ("Aspen", "Birch"))
    names = {
        missed(birch, DAY, technician=people[0]): "early Birch",
        missed(birch, DAY + timedelta(days=1), technician=people[2]): "middle Birch",
        missed(aspen, DAY + timedelta(days=2), technician=people[1]): "late Aspen",
    }

    shown = [names[visit] for visit in found(sign_in(in_firm.office), sort=sort)]

    assert shown == order


def test_filters_and_order_stay_in_the_address_of_the_next_page(
    heron: Spa, in_firm: Firm, sign_in: Any
) -> None:
    for days in range(listing.ROWS_PER_PAGE + 1):
        missed(heron, DAY - timedelta(days=days))

    words = sign_in(in_firm.office).get(URL, {"q": "cedar", "sort": "day"}).content.decode()

    assert 'href="?q=cedar&amp;sort=day&amp;page=2"' in words
    assert '<input type="hidden" name="sort" value="day">' in words


def test_beyond_what_can_be_turned_through_the_list_is_by_day_and_says_so(
    heron: Spa, in_firm: Firm, sign_in: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(find_records, "MOST_LISTED", 3)
    monkeypatch.setattr("service.visits.views_records.MOST_LISTED", 3)
    visits = [missed(heron, DAY - timedelta(days=days)) for days in range(5)]
    missed(in_firm.spa, DAY + timedelta(days=1))
    browser = sign_in(in_firm.office)

    answer = browser.get(URL, {"q": "cedar", "sort": "spa"})

    assert list(answer.context["listing"].page) == visits[:3]
    assert [head.next for head in answer.context["listing"].heads if head.next] == ["day"]
    assert "More than 3 visits that ended." in answer.content.decode()
    assert found(browser, q="cedar", sort="day") == visits[:1:-1]
    narrower = browser.get(URL, {"q": "cedar", "end": str(visits[2].planned_on), "sort": "spa"})
    assert len(narrower.context["listing"].page) == 3
    assert "3 visits that ended" in narrower.content.decode()


def test_a_verdict_leaves_signed_visits_only(in_firm: Firm, sign_in: Any) -> None:
    missed(in_firm.spa)

    assert found(sign_in(in_firm.office), verdict=Verdict.FIT_NOW) == []
