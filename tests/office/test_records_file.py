"""The visits that ended as a file: what the filters leave, within what the person may see."""

import csv
import io
from typing import Any

import pytest
from django.http import StreamingHttpResponse

from accounts.roles import Role
from service.visits.amend import amend_record
from service.visits.models import Record, VisitState
from tests.factories import VisitFactory
from tests.personas import Firm
from tests.visits.working import MORNING, signed

URL = "/office/records.csv"


@pytest.fixture(autouse=True)
def _morning(time_machine: Any) -> None:
    time_machine.move_to(MORNING, tick=False)


def table(browser: Any, **asked: str) -> list[dict[str, str]]:
    answer = browser.get(URL, asked)
    assert isinstance(answer, StreamingHttpResponse)
    assert "no-store" in answer["Cache-Control"]
    text = b"".join(answer).decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def missed(firm: Firm, **fields: Any) -> Any:
    fields.setdefault("spa", firm.spa)
    return VisitFactory(state=VisitState.MISSED, end_reason="Snow", technician=firm.technician, **fields)


def test_a_line_tells_of_a_signed_visit_in_the_firms_time(in_firm: Firm, sign_in: Any) -> None:
    signed(in_firm)
    record = Record.objects.get()
    for figure in ("7.5", "7.6"):
        amend_record(
            record=record, corrects="pH", was="7.4", becomes=figure, reason="Typo", by=in_firm.office
        )

    (line,) = table(sign_in(in_firm.office))

    # 09:00 UTC is 10:00 in London in June.
    assert line["Ended"] == "2026-06-03 10:00+01:00"
    assert (line["Day"], line["Spa"], line["Client"]) == ("2026-06-03", in_firm.spa.name, in_firm.client.name)
    assert (line["State"], line["Verdict"], line["Corrections"]) == ("Signed", "Fit for use", "2")
    assert line["Digest of the record"] == record.digest


def test_the_filters_of_the_list_narrow_the_file(in_firm: Firm, sign_in: Any) -> None:
    signed(in_firm)
    missed(in_firm)
    browser = sign_in(in_firm.office)

    assert [line["Why not signed"] for line in table(browser, state="unsigned")] == ["Snow"]
    assert [line["State"] for line in table(browser, verdict="fit_now")] == ["Signed"]
    assert table(browser, q="no such words") == []


def test_the_page_leads_to_the_file_with_the_same_filters(in_firm: Firm, sign_in: Any) -> None:
    missed(in_firm)

    page = sign_in(in_firm.office).get("/visits/records/", {"state": "unsigned", "sort": "spa"})

    assert f'href="{URL}?state=unsigned"' in page.content.decode()


def test_a_rental_manager_has_her_own_visits_without_staff_or_reasons(in_firm: Firm, sign_in: Any) -> None:
    missed(in_firm)
    missed(in_firm, spa=in_firm.hidden_spa)

    lines = table(sign_in(in_firm.rental_manager))

    assert [line["Spa"] for line in lines] == [in_firm.spa.name]
    assert not {"Technician", "Why not signed"} & set(lines[0])
    assert in_firm.technician.name not in str(lines)


def test_a_firm_never_has_lines_of_another(in_firm: Firm, stranger: Firm, sign_in: Any) -> None:
    missed(in_firm)

    assert table(sign_in(stranger.people[Role.OWNER])) == []


def test_a_name_that_a_spreadsheet_would_work_out_is_written_as_text(in_firm: Firm, sign_in: Any) -> None:
    in_firm.spa.name = "=1+1"
    in_firm.spa.save()
    missed(in_firm)

    # OWASP, CSV injection: an apostrophe before a leading sign.
    assert table(sign_in(in_firm.owner))[0]["Spa"] == "'=1+1"


def test_the_file_is_read_from_the_database_in_one_query(
    in_firm: Firm, sign_in: Any, django_assert_num_queries: Any
) -> None:
    browser = sign_in(in_firm.owner)
    for _ in range(3):
        missed(in_firm)

    # The session, the person, the visits.
    with django_assert_num_queries(3):
        assert len(table(browser)) == 3
