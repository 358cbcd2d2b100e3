"""Every page of clients, sites and spas, asked the same questions by the same people."""

from io import BytesIO
from typing import Any
from uuid import UUID

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django_scopes import scope, scopes_disabled
from PIL import Image

from accounts.invitations import invite, open_invitations
from accounts.roles import Role
from service.sites.models import ClientAccess, SpaPhoto
from service.sites.photos import add_spa_photo
from tests.page_table import Page
from tests.personas import Firm

PHOTO_PK = UUID("11111111-1111-4111-8111-111111111111")


class _Key:
    """Stands in for a row of which only the key matters to an address."""

    def __init__(self, pk: UUID) -> None:
        self.pk = pk


def client(firm: Firm) -> tuple[Any, ...]:
    return (firm.client,)


def site(firm: Firm) -> tuple[Any, ...]:
    return (firm.site,)


def spa(firm: Firm) -> tuple[Any, ...]:
    return (firm.spa,)


def photo(firm: Firm) -> tuple[Any, ...]:
    return (firm.spa, _Key(PHOTO_PK))


def access(firm: Firm) -> tuple[Any, ...]:
    with scopes_disabled():
        return (firm.client, ClientAccess.objects.get(client=firm.client))


def manager(firm: Firm) -> tuple[Any, ...]:
    return (firm.rental_manager,)


def invitation(firm: Firm) -> tuple[Any, ...]:
    """The firm's one open invitation; asking again finds it again."""
    with scope(organisation=firm.organisation):
        found = open_invitations().first() or invite(
            email=f"new@{firm.organisation.pk}.example",
            name="New",
            roles=[Role.RENTAL_MANAGER],
            by=firm.owner,
            link=lambda secret: secret,
        )
    return (found,)


PAGES = [
    Page("sites:search"),
    Page("sites:clients"),
    Page("sites:client_new", writes=True),
    Page("sites:client", client),
    Page("sites:client_edit", client, writes=True),
    Page("sites:client_archive", client, writes=True),
    Page("sites:client_restore", client, writes=True, posts=True),
    Page("sites:client_guideline", client, writes=True),
    Page("sites:client_access_grant", client, writes=True, posts=True),
    Page("sites:client_access_withdraw", access, writes=True, posts=True),
    Page("sites:person_clients", manager, writes=True),
    Page("sites:invitation_clients", invitation, writes=True),
    Page("sites:site_new", client, writes=True),
    Page("sites:sites"),
    Page("sites:site", site),
    Page("sites:site_edit", site, writes=True),
    Page("sites:site_archive", site, writes=True),
    Page("sites:site_restore", site, writes=True, posts=True),
    Page("sites:site_guideline", site, writes=True),
    Page("sites:site_supply_water", site, writes=True),
    Page("sites:spa_new", site, writes=True),
    Page("sites:spas"),
    Page("sites:spa", spa),
    Page("sites:spa_edit", spa, writes=True),
    Page("sites:spa_archive", spa, writes=True),
    Page("sites:spa_restore", spa, writes=True, posts=True),
    Page("sites:spa_guideline", spa, writes=True),
    Page("sites:spa_photos", spa, writes=True),
    Page("sites:spa_photo", photo),
    Page("sites:spa_photo_caption", photo, writes=True),
    Page("sites:spa_photo_remove", photo, writes=True),
]
OF_A_ROW = [page for page in PAGES if page.of is not Page.of]
OWNERS_ONLY = {
    "sites:client_access_grant",
    "sites:client_access_withdraw",
    "sites:person_clients",
    "sites:invitation_clients",
}
every_page = pytest.mark.parametrize("page", PAGES, ids=str)
every_page_of_a_row = pytest.mark.parametrize("page", OF_A_ROW, ids=str)


@pytest.fixture(autouse=True)
def _photo(firm: Firm) -> None:
    file = BytesIO()
    Image.new("RGB", (20, 10), "teal").save(file, "JPEG")
    with scope(organisation=firm.organisation):
        upload = SimpleUploadedFile("a.jpg", file.getvalue())
        made = add_spa_photo(spa=firm.spa, upload=upload, caption="Plate", by=firm.office)
        SpaPhoto.objects.filter(pk=made.pk).update(id=PHOTO_PK)


def test_the_table_lists_every_page_of_the_room() -> None:
    from service.sites.urls import urlpatterns

    # The search stands above every room, and the firm's guideline has its own tests.
    listed = {page.url_name for page in PAGES} - {"sites:search"}
    assert listed == {f"sites:{pattern.name}" for pattern in urlpatterns} - {"sites:firm_guideline"}


@every_page
def test_works(page: Page, firm: Firm, sign_in: Any) -> None:
    assert page.ask(sign_in(firm.owner), page.url(firm)).status_code == page.good_status


@every_page
def test_works_for_a_colleague_in_the_office(page: Page, firm: Firm, sign_in: Any) -> None:
    expected = 404 if page.url_name in OWNERS_ONLY else page.good_status

    assert page.ask(sign_in(firm.office), page.url(firm)).status_code == expected


@every_page
@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.AUDITOR])
def test_people_who_only_read_the_register_see_it_and_change_nothing(
    page: Page, role: Role, firm: Firm, sign_in: Any
) -> None:
    expected = 404 if page.writes else 200

    assert page.ask(sign_in(firm.people[role]), page.url(firm)).status_code == expected


@every_page
def test_a_rental_manager_sees_their_own_and_changes_nothing(page: Page, firm: Firm, sign_in: Any) -> None:
    expected = 404 if page.writes else 200

    assert page.ask(sign_in(firm.rental_manager), page.url(firm)).status_code == expected


@pytest.mark.parametrize("page", [page for page in OF_A_ROW if not page.writes], ids=str)
def test_a_rental_manager_does_not_see_another_client(page: Page, firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        SpaPhoto.objects.update(spa=firm.hidden_spa)
    hidden = Firm(
        firm.organisation,
        firm.people,
        firm.hidden_client,
        firm.hidden_site,
        firm.hidden_spa,
        firm.client,
        firm.site,
        firm.spa,
    )

    assert page.ask(sign_in(firm.rental_manager), page.url(hidden)).status_code == 404
    assert page.ask(sign_in(firm.office), page.url(hidden)).status_code == 200


@every_page_of_a_row
def test_a_malformed_key_is_not_found(page: Page, firm: Firm, sign_in: Any) -> None:
    url = page.url_with_last(firm, "not-a-key")

    assert page.ask(sign_in(firm.owner), url).status_code == 404


@every_page_of_a_row
def test_a_key_of_nothing_is_not_found(page: Page, firm: Firm, sign_in: Any) -> None:
    assert page.ask(sign_in(firm.owner), page.missing_url(firm)).status_code == 404


@every_page_of_a_row
def test_a_stranger_gets_what_a_missing_row_gives(
    page: Page, firm: Firm, stranger: Firm, sign_in: Any
) -> None:
    browser = sign_in(stranger.owner)
    refused = page.ask(browser, page.url(firm))
    absent = page.ask(browser, page.missing_url(firm))

    assert refused.status_code == absent.status_code == 404
    assert refused.content.decode().count(str(firm.client)) == 0


@every_page
def test_a_wrong_method_is_refused(page: Page, firm: Firm, sign_in: Any) -> None:
    browser, url = sign_in(firm.owner), page.url(firm)

    answers = {method: getattr(browser, method)(url).status_code for method in page.wrong_methods()}

    assert set(answers.values()) == {405}


@every_page
def test_without_signing_in_the_way_leads_to_the_sign_in(page: Page, firm: Firm) -> None:
    answer = page.ask(Browser(), page.url(firm))

    assert answer.status_code == 302
    assert answer["Location"].startswith("/account/sign-in/")


def test_a_photo_of_one_spa_is_not_found_under_another(firm: Firm, sign_in: Any) -> None:
    url = Page("sites:spa_photo", lambda firm: (firm.hidden_spa, _Key(PHOTO_PK))).url(firm)

    assert sign_in(firm.owner).get(url).status_code == 404
