"""The audit trail as a file: what the page shows, for the owner alone, safe in a spreadsheet."""

import csv
import io
from typing import Any

import pytest
from django_scopes import scope

from accounts.audit import record_event
from accounts.roles import Role
from tests.personas import Firm

URL = "/office/audit-trail.csv"


def table(answer: Any) -> list[list[str]]:
    return list(csv.reader(io.StringIO(answer.content.decode())))


def test_the_file_holds_what_the_filters_leave(firm: Firm, stranger: Firm, sign_in: Any) -> None:
    for one in (firm, stranger):
        with scope(organisation=one.organisation):
            record_event(action="spa.archived", subject=one.spa, by=one.office)
            record_event(action="client.archived", subject=one.client, by=one.owner)

    rows = table(sign_in(firm.owner).get(URL, {"about": "spa"}))

    assert rows[0] == ["When", "Who", "What was done", "To what", "Figures"]
    assert [row[1:] for row in rows[1:]] == [[firm.office.name, "archived a spa", firm.spa.name, ""]]


def test_a_name_that_a_spreadsheet_would_work_out_is_written_as_text(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        firm.spa.name = "=1+1"
        firm.spa.save()
        record_event(action="spa.archived", subject=firm.spa, by=firm.office)

    # OWASP, CSV injection: an apostrophe before a leading sign.
    assert table(sign_in(firm.owner).get(URL, {"about": "spa"}))[1][3] == "'=1+1"


@pytest.mark.parametrize("role", [Role.OFFICE, Role.TECHNICIAN, Role.RENTAL_MANAGER, Role.AUDITOR])
def test_only_the_owner_may_have_it(firm: Firm, sign_in: Any, role: Role) -> None:
    assert sign_in(firm.people[role]).get(URL).status_code == 404


def test_the_page_leads_to_the_file_with_the_same_filters(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        record_event(action="spa.archived", subject=firm.spa, by=firm.office)

    page = sign_in(firm.owner).get("/people/audit-trail/", {"about": "spa"}).content.decode()

    assert f"{URL}?about=spa" in page
