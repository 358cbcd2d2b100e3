"""The pages of lists, for those who may import: upload, preview, confirm, take back, columns, files."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from django_scopes import scope

from accounts.roles import Role
from service.importing.columns import KINDS
from service.importing.models import ListImport, ListState
from service.importing.write import confirm_list, write_list
from service.runs.models import Run, RunState
from service.runs.sweep import ATTEMPTS_MAX, GAVE_UP, sweep
from service.runs.work import do_run
from service.sites.models import Client
from tests.importing.listing import confirmed, fresh, uploaded
from tests.personas import Firm

ROWS = "reference,name,email\n" + "".join(
    f"C{n},Client {n},{'x' if n % 7 == 0 else ''}\n" for n in range(1, 121)
)


@pytest.fixture
def office(firm: Firm, sign_in: Any) -> Browser:
    browser: Browser = sign_in(firm.office)
    return browser


def send(browser: Browser, content: bytes, kind: str = "client", name: str = "clients.csv") -> Any:
    file = SimpleUploadedFile(name, content)
    return browser.post(reverse("importing:lists"), {"kind": kind, "upload": file})


def test_a_list_goes_from_upload_to_done_and_back(firm: Firm, office: Browser) -> None:
    answer = send(office, b"reference,name\nC7,Hillside Lets\n")
    listing = _only(firm)
    assert answer["Location"] == reverse("importing:list", args=[listing.pk])
    assert "Import 1 row" in office.get(answer["Location"]).content.decode()

    office.post(reverse("importing:confirm", args=[listing.pk]))
    with scope(organisation=firm.organisation):
        do_run(fresh(listing).run.pk, write_list)
        assert Client.objects.filter(reference="C7").exists()
    back = reverse("importing:take_back", args=[listing.pk])
    assert "Removed again: 1 of clients" in office.get(back).content.decode()
    assert office.post(back).status_code == 302

    with scope(organisation=firm.organisation):
        assert not Client.objects.filter(reference="C7").exists()
    assert "Taken back" in office.get(answer["Location"]).content.decode()


def _only(firm: Firm) -> ListImport:
    with scope(organisation=firm.organisation):
        return ListImport.objects.get()


def test_a_refused_upload_says_why_at_the_field(office: Browser) -> None:
    assert "Choose a file." in office.post(reverse("importing:lists"), {"kind": "client"}).content.decode()
    assert "larger than 5 MB" in send(office, b"x" * (5 * 1024 * 1024 + 1)).content.decode()
    assert "The file is empty." in send(office, b"").content.decode()


def test_the_preview_can_show_only_errors_and_is_paged(firm: Firm, office: Browser) -> None:
    with scope(organisation=firm.organisation):
        listing = uploaded(firm, "client", ROWS)
    url = reverse("importing:list", args=[listing.pk])

    assert len(office.get(url).context["page"]) == 50
    errors = office.get(url, {"show": "wrong"})
    assert len(errors.context["page"]) == 17
    assert "Enter a valid email address." in errors.content.decode()


def test_a_list_with_errors_is_not_confirmed_by_accident(firm: Firm, office: Browser) -> None:
    with scope(organisation=firm.organisation):
        listing = uploaded(firm, "client", ROWS)
    url = reverse("importing:confirm", args=[listing.pk])

    assert "17 rows have errors" in office.post(url).content.decode()
    assert _only(firm).state == ListState.READY
    assert office.post(url, {"only_good": "yes"}).status_code == 302
    assert _only(firm).state == ListState.WRITING


def test_an_import_that_was_given_up_says_so_and_can_be_done_again(firm: Firm, office: Browser) -> None:
    with scope(organisation=firm.organisation):
        listing = uploaded(firm, "client", "reference,name\nC7,Hillside Lets\n")
        run = confirm_list(listing=listing, only_good=False, by=firm.office)
        given_up = timezone.now() - timedelta(minutes=10)
        Run.objects.filter(pk=run.pk).update(state=RunState.RUNNING, attempt=ATTEMPTS_MAX, seen_at=given_up)
    sweep()
    url = reverse("importing:list", args=[listing.pk])

    page = office.get(url).content.decode()

    assert "Not imported: nothing of it was written" in page
    assert GAVE_UP in page
    assert "Import 1 row" in page
    assert office.post(reverse("importing:confirm", args=[listing.pk])).status_code == 302
    with scope(organisation=firm.organisation):
        do_run(fresh(listing).run.pk, write_list)
        assert Client.objects.filter(reference="C7").exists()
    assert "Imported." in office.get(url).content.decode()


def test_what_was_guessed_can_be_chosen_on_the_page(firm: Firm, office: Browser) -> None:
    with scope(organisation=firm.organisation):
        listing = uploaded(firm, "client", "name;notes\nA;Größe\n".encode("cp1252"))
    page = office.get(reverse("importing:list", args=[listing.pk])).content.decode()
    assert "a guess" in page

    chosen = {"kind": "client", "encoding": "iso-8859-15", "delimiter": ";"}
    office.post(reverse("importing:read_again", args=[listing.pk]), chosen)

    assert _only(firm).encoding == "iso-8859-15"
    wrong = office.post(reverse("importing:read_again", args=[listing.pk]), {"kind": "x"})
    assert "Choose what the list holds" in wrong.content.decode()


@pytest.mark.parametrize("rows", [2, 110])
def test_no_page_asks_the_database_more_for_more_rows(
    firm: Firm, office: Browser, rows: int, django_assert_max_num_queries: Any
) -> None:
    text = "reference,name\n" + "".join(f"C{n},Client {n}\n" for n in range(rows))
    with scope(organisation=firm.organisation):
        listing = uploaded(firm, "client", text)
        for _ in range(3):
            uploaded(firm, "client", text)
    for name, arguments in (("lists", []), ("columns", []), ("list", [listing.pk])):
        with django_assert_max_num_queries(12):
            assert office.get(reverse(f"importing:{name}", args=arguments)).status_code == 200
    with scope(organisation=firm.organisation):
        confirmed(firm, listing)
    with django_assert_max_num_queries(20):
        office.get(reverse("importing:take_back", args=[listing.pk]))


@pytest.mark.parametrize("kind", [*KINDS, "all"])
def test_templates_and_exports_are_files(office: Browser, kind: str) -> None:
    for name in ("template", "export"):
        for form in ("csv", "xlsx"):
            answer = office.get(reverse(f"importing:{name}", args=[kind, form]))
            assert answer.status_code == (404 if (kind, form) == ("all", "csv") else 200)
            if answer.status_code == 200:
                assert b"".join(answer.streaming_content)
                assert answer["Content-Disposition"].startswith("attachment")
    assert office.get(reverse("importing:export", args=["visits", "csv"])).status_code == 404


def test_the_columns_page_shows_every_column_of_every_list(office: Browser) -> None:
    page = office.get(reverse("importing:columns")).content.decode()

    for kind in KINDS.values():
        for column in kind.columns:
            assert f"<code>{column.name}</code>" in page


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.RENTAL_MANAGER, Role.AUDITOR])
def test_for_others_there_are_no_lists(firm: Firm, sign_in: Any, role: Role) -> None:
    browser = sign_in(firm.people[role])

    assert browser.get(reverse("importing:lists")).status_code == 404
    assert send(browser, b"name\nA\n").status_code == 404
    assert "Lists" not in browser.get("/", follow=True).content.decode()
