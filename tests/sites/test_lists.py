"""The long lists: what words and filters find, in which order, in how many queries, at 2,000 rows."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django_scopes import scope

from service.sites.archive import archive
from service.sites.listing import ROWS_PER_PAGE
from service.sites.models import Client, Site, Spa
from tests.factories import ClientFactory, SiteFactory, SpaFactory
from tests.personas import Firm


@pytest.fixture
def office(firm: Firm, sign_in: Any) -> Any:
    return sign_in(firm.office)


@pytest.fixture
def hotel(firm: Firm) -> Spa:
    """One more client with words that nothing else has."""
    with scope(organisation=firm.organisation):
        client = ClientFactory(
            organisation=firm.organisation,
            name="Larch Hotel",
            kind="hotel",
            reference="C-77",
            phone="000 555",
        )
        site = SiteFactory(client=client, name="Heron Cottage", address="Mill Lane 4\nSallow Bridge")
        return SpaFactory(site=site, name="Terrace tub", sanitiser="bromine", volume_l=1900, reference="T-1")


def rows(browser: Any, name: str, **asked: str) -> list[Any]:
    answer = browser.get(reverse(f"sites:{name}"), asked)
    assert answer.status_code == 200
    return list(answer.context["listing"].page)


@pytest.mark.parametrize("words", ["larch", "HOTEL larch", "c-77", "000 555"])
def test_clients_are_found_by_any_of_their_words(office: Any, hotel: Spa, words: str) -> None:
    assert rows(office, "clients", q=words) == [hotel.site.client]


@pytest.mark.parametrize("words", ["heron", "mill sallow", "larch cottage"])
def test_sites_are_found_by_name_address_and_client(office: Any, hotel: Spa, words: str) -> None:
    assert rows(office, "sites", q=words) == [hotel.site]


@pytest.mark.parametrize("words", ["terrace", "t-1", "heron larch", "mill"])
def test_spas_are_found_by_name_site_address_and_client(office: Any, hotel: Spa, words: str) -> None:
    assert rows(office, "spas", q=words) == [hotel]


@pytest.mark.parametrize("words", ["4711", "gate", "Side gate"])
def test_nothing_is_found_by_what_is_sealed(office: Any, firm: Firm, words: str) -> None:
    assert rows(office, "sites", q=words) == []


def test_every_word_must_fit(office: Any, hotel: Spa) -> None:
    assert rows(office, "spas", q="terrace nowhere") == []


@pytest.mark.parametrize(
    ("name", "asked"),
    [
        ("clients", {"kind": "hotel"}),
        ("sites", {"kind": "hotel"}),
        ("spas", {"kind": "hotel"}),
        ("spas", {"sanitiser": "bromine"}),
        ("spas", {"sanitiser": "bromine", "kind": "hotel", "q": "tub"}),
    ],
)
def test_filters_narrow_the_list(office: Any, hotel: Spa, name: str, asked: dict[str, str]) -> None:
    expected = {"clients": hotel.site.client, "sites": hotel.site, "spas": hotel}[name]

    assert rows(office, name, **asked) == [expected]


def test_archived_rows_are_shown_when_asked_for_with_all_that_lies_below(
    office: Any, firm: Firm, hotel: Spa
) -> None:
    with scope(organisation=firm.organisation):
        archive(place=hotel.site.client, by=firm.office)

    assert hotel not in rows(office, "spas")
    assert rows(office, "clients", state="archived") == [hotel.site.client]
    assert rows(office, "sites", state="archived") == [hotel.site]
    assert rows(office, "spas", state="archived") == [hotel]
    assert {hotel, firm.spa, firm.hidden_spa} == set(rows(office, "spas", state="all"))


@pytest.mark.parametrize(
    ("sort", "expected"),
    [
        ("", ["Aa", "Bb", "Cc"]),
        ("name", ["Aa", "Bb", "Cc"]),
        ("-name", ["Cc", "Bb", "Aa"]),
        ("volume", ["Cc", "Aa", "Bb"]),
        ("-volume", ["Bb", "Aa", "Cc"]),
        ("client", ["Bb", "Cc", "Aa"]),
        ("organisation__name", ["Aa", "Bb", "Cc"]),
        ("-", ["Aa", "Bb", "Cc"]),
    ],
)
def test_the_list_is_ordered_as_asked_and_by_name_when_asked_nonsense(
    office: Any, firm: Firm, sort: str, expected: list[str]
) -> None:
    with scope(organisation=firm.organisation):
        for name, volume, client in (("Aa", 1200, "Z"), ("Bb", 1300, "X"), ("Cc", 1100, "Y")):
            made = ClientFactory(organisation=firm.organisation, name=f"Sorted {client}")
            SpaFactory(site=SiteFactory(client=made), name=name, volume_l=volume)

    assert [spa.name for spa in rows(office, "spas", q="sorted", sort=sort)] == expected


def test_the_heads_say_the_order_and_offer_the_next(office: Any, firm: Firm) -> None:
    page = office.get(reverse("sites:spas"), {"sort": "volume", "q": "Spa", "page": "1"}).content.decode()

    assert 'aria-sort="ascending"' in page
    assert "?sort=-volume&amp;q=Spa" in page


@pytest.mark.parametrize(
    "asked",
    [
        {"kind": "castle"},
        {"state": "gone"},
        {"page": "99"},
        {"page": "x"},
        {"q": "a\0b"},
        {"q": "x" * 101},
        {"sort": "'; DROP TABLE sites_spa"},
    ],
    ids=lambda asked: next(iter(asked)) + ascii(next(iter(asked.values())))[:8],
)
def test_an_address_that_was_tampered_with_still_shows_a_list(
    office: Any, firm: Firm, asked: dict[str, str]
) -> None:
    assert {firm.spa, firm.hidden_spa} == set(rows(office, "spas", **asked))


def test_an_unreadable_filter_is_told_at_its_field(office: Any) -> None:
    page = office.get(reverse("sites:clients"), {"kind": "castle"}).content.decode()

    assert "castle is not one of the available choices" in page


def test_an_empty_firm_is_told_what_to_do_next(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        Client.objects.update(archived_at="2026-01-01T00:00Z")

    assert "Add the first client" in office.get(reverse("sites:clients")).content.decode()
    found = office.get(reverse("sites:clients"), {"q": "nowhere"}).content.decode()
    assert "No client fits" in found


def test_counts_beside_a_client_leave_out_what_is_archived(firm: Firm, office: Any, hotel: Spa) -> None:
    with scope(organisation=firm.organisation):
        SpaFactory(site=hotel.site)
        archive(place=SpaFactory(site=SiteFactory(client=hotel.site.client)).site, by=firm.office)

    answer = office.get(reverse("sites:clients"), {"q": "larch"})
    assert answer.context["counted"] == [(hotel.site.client, 1, 2)]


# --- two thousand rows, few queries -----------------------------------------------------------

# What every page asks before its own questions.
FRAME = [
    ("the session", "django_session"),
    ("the person, the firm and the roles", "accounts_rolegrant"),
]
# A list is one count and one page, with what the page needs, however long it is.
LISTS = {
    "clients": [
        ("how many clients", "sites_client"),
        ("a page of them", "sites_client"),
        ("sites of those on the page", "sites_site"),
        ("spas of those on the page", "sites_spa"),
    ],
    "sites": [("how many sites", "sites_site"), ("a page with clients and counts", "sites_site")],
    "spas": [("how many spas", "sites_spa"), ("a page with sites, clients and firm", "sites_spa")],
}


@pytest.fixture
def two_thousand(firm: Firm) -> None:
    with scope(organisation=firm.organisation):
        organisation = firm.organisation
        clients = [Client(organisation=organisation, name=f"Client {n:04}") for n in range(500)]
        Client.objects.bulk_create(clients)
        sites = [
            Site(organisation=organisation, client=clients[n % 500], name=f"Site {n:04}") for n in range(1000)
        ]
        Site.objects.bulk_create(sites)
        Spa.objects.bulk_create(
            Spa(organisation=organisation, site=sites[n % 1000], name=f"Tub {n:04}", volume_l=1000 + n % 900)
            for n in range(2000)
        )


def asked_of_the_database(browser: Any, url: str) -> list[str]:
    with CaptureQueriesContext(connection) as captured:
        assert browser.get(url).status_code == 200
    statements = [query["sql"] for query in captured.captured_queries]
    return [sql for sql in statements if not sql.startswith(("SAVEPOINT", "RELEASE"))]


@pytest.mark.parametrize("name", list(LISTS))
def test_a_list_of_two_thousand_asks_a_count_and_a_page(
    firm: Firm, office: Any, two_thousand: None, name: str
) -> None:
    office.get(reverse("sites:clients"))  # the first page of a session also notes the session itself

    statements = asked_of_the_database(office, reverse(f"sites:{name}") + "?sort=-name&page=3")

    expected = FRAME + LISTS[name]
    assert len(statements) == len(expected) <= 12, "\n".join(statements)
    for (words, table), sql in zip(expected, statements, strict=True):
        assert table in sql, words


def test_every_row_of_two_thousand_is_on_exactly_one_page(
    firm: Firm, office: Any, two_thousand: None
) -> None:
    seen: list[Any] = []
    for number in range(1, 2000 // ROWS_PER_PAGE + 1):
        seen += rows(office, "spas", q="Tub", sort="volume", page=str(number))

    assert len(seen) == len(set(seen)) == 2000
    assert [spa.volume_l for spa in seen] == sorted(spa.volume_l for spa in seen)


def test_a_list_of_two_thousand_never_reads_a_gate_code(firm: Firm, office: Any, two_thousand: None) -> None:
    for name in LISTS:
        for sql in asked_of_the_database(office, reverse(f"sites:{name}")):
            assert "access_code" not in sql


@pytest.mark.parametrize(
    ("name", "of", "own"),
    [
        (
            "client",
            "client",
            [
                ("the client", "sites_client"),
                ("who else could see it", "accounts_person"),
                ("its sites", "sites_site"),
                ("who sees it", "sites_clientaccess"),
            ],
        ),
        (
            "site",
            "site",
            [("the site", "sites_site"), ("its spas", "sites_spa"), ("products there", "stock_siteproduct")],
        ),
        ("spa", "spa", [("the spa", "sites_spa"), ("its photos", "sites_spaphoto")]),
    ],
)
def test_the_page_of_one_asks_few_questions_however_much_lies_below(
    firm: Firm, sign_in: Any, name: str, of: str, own: list[tuple[str, str]]
) -> None:
    with scope(organisation=firm.organisation):
        for _ in range(5):
            SpaFactory.create_batch(3, site=SiteFactory(client=firm.client))
        SpaFactory.create_batch(3, site=firm.site)
    browser = sign_in(firm.owner)
    browser.get(reverse("sites:clients"))

    statements = asked_of_the_database(browser, reverse(f"sites:{name}", args=[getattr(firm, of).pk]))

    expected = FRAME + own
    assert len(statements) == len(expected) <= 12, "\n".join(statements)
    for (words, table), sql in zip(expected, statements, strict=True):
        assert table in sql, words
