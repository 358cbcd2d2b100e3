"""Gate codes and key notes: sealed in the database, drawn for those who keep them, never for anybody else."""

from typing import Any

import pytest
from django.db import connection
from django.urls import reverse
from django_scopes import scope

from accounts.models import AuditEvent
from accounts.roles import Role
from service.sites.models import Site
from service.sites.register import change_site
from tests.personas import Firm
from tests.sites.posting import SITE

CODE, NOTES = "90210#secret", "Key safe behind the oil tank"


@pytest.fixture(autouse=True)
def _code(firm: Firm) -> None:
    with scope(organisation=firm.organisation):
        change_site(site=firm.site, by=firm.office, access_code=CODE, access_notes=NOTES)


def site_url(firm: Firm, page: str = "site") -> str:
    return reverse(f"sites:{page}", args=[firm.site.pk])


def test_the_database_holds_no_readable_code(firm: Firm) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT access_code, access_notes FROM sites_site")
        stored = cursor.fetchall()

    assert all("90210" not in code and "oil" not in notes for code, notes in stored)
    with scope(organisation=firm.organisation):
        site = Site.objects.get(pk=firm.site.pk)
        assert (site.access_code, site.access_notes) == (CODE, NOTES)


def test_the_audit_trail_holds_no_code(firm: Firm) -> None:
    with scope(organisation=firm.organisation):
        detail = AuditEvent.objects.get(action="site.changed").detail

    assert detail == {"changed": ["access_code", "access_notes"]}


@pytest.mark.parametrize("role", [Role.OWNER, Role.OFFICE])
def test_owner_and_office_see_them_on_the_page_of_the_site(firm: Firm, sign_in: Any, role: Role) -> None:
    page = sign_in(firm.people[role]).get(site_url(firm)).content.decode()

    assert CODE in page
    assert NOTES in page


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.AUDITOR, Role.RENTAL_MANAGER])
def test_nobody_else_sees_them_on_any_page_of_the_register(firm: Firm, sign_in: Any, role: Role) -> None:
    browser = sign_in(firm.people[role])
    addresses = [
        site_url(firm),
        reverse("sites:client", args=[firm.client.pk]),
        reverse("sites:spa", args=[firm.spa.pk]),
        reverse("sites:clients"),
        reverse("sites:sites"),
        reverse("sites:spas"),
        reverse("sites:search") + f"?q={firm.site.name}",
    ]
    for address in addresses:
        answer = browser.get(address)
        assert answer.status_code == 200
        assert "90210" not in answer.content.decode()
        assert "oil tank" not in answer.content.decode()
    assert browser.get(site_url(firm, "site_edit")).status_code == 404


def test_people_of_the_firm_are_told_where_to_find_them(firm: Firm, sign_in: Any) -> None:
    hint = "Codes and key notes are shown on the page of the stop, on its day."

    assert hint in sign_in(firm.technician).get(site_url(firm)).content.decode()
    assert hint not in sign_in(firm.rental_manager).get(site_url(firm)).content.decode()


@pytest.mark.parametrize("page", ["site", "site_edit"])
def test_a_page_with_codes_is_kept_nowhere(firm: Firm, sign_in: Any, page: str) -> None:
    cache = sign_in(firm.office).get(site_url(firm, page))["Cache-Control"]

    assert "no-store" in cache
    assert "private" in cache


def test_an_edit_that_leaves_the_code_alone_keeps_it_and_names_only_what_changed(
    firm: Firm, sign_in: Any
) -> None:
    typed = SITE | {"access_code": CODE, "access_notes": NOTES, "parking": "Behind the barn"}
    sign_in(firm.office).post(site_url(firm, "site_edit"), typed | {"name": firm.site.name})

    with scope(organisation=firm.organisation):
        site = Site.objects.get(pk=firm.site.pk)
        assert (site.access_code, site.parking) == (CODE, "Behind the barn")
        detail = AuditEvent.objects.filter(action="site.changed").latest("id").detail
        assert detail == {"changed": ["latitude", "longitude", "parking"]}


def test_a_code_is_emptied_by_emptying_its_field(firm: Firm, sign_in: Any) -> None:
    sign_in(firm.office).post(site_url(firm, "site_edit"), SITE | {"access_code": "", "access_notes": ""})

    with scope(organisation=firm.organisation):
        assert Site.objects.get(pk=firm.site.pk).access_code == ""


def test_notes_for_the_office_are_not_shown_to_a_rental_manager(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        type(firm.client).objects.update(notes="Pays late")
        type(firm.spa).objects.update(notes="Cracked shell, say nothing yet")
    addresses = [reverse("sites:client", args=[firm.client.pk]), reverse("sites:spa", args=[firm.spa.pk])]

    for address, words in zip(addresses, ["Pays late", "Cracked shell"], strict=True):
        assert words in sign_in(firm.technician).get(address).content.decode()
        assert words not in sign_in(firm.rental_manager).get(address).content.decode()
