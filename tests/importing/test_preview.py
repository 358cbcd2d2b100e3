"""The preview says, row by row and cell by cell, what a list would do. It writes nothing."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.db import connection
from django.utils import timezone
from django_scopes import scope

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.importing import upload as upload_module
from service.importing.models import ListImport, ListRow, ListState
from service.importing.upload import (
    READ_TASK,
    bytes_of,
    drop_list,
    drop_stale,
    read_again,
    read_now,
    upload_list,
)
from service.runs.work import do_run
from service.sites.archive import archive
from service.sites.models import Client, Site, Spa
from service.sites.register import change_client
from tests.importing.listing import effects, fresh, problems, uploaded, workbook
from tests.personas import Firm

SPAS = "site_reference,reference,name,volume_l,bather_capacity,commissioned_on\n"


@pytest.fixture
def site(in_firm: Firm) -> Site:
    Client.objects.filter(pk=in_firm.client.pk).update(reference="C1", name="Hillside Lets")
    Site.objects.filter(pk=in_firm.site.pk).update(reference="S1", name="Mill Barn")
    return Site.objects.get(pk=in_firm.site.pk)


def test_a_row_is_new_changed_or_the_same(in_firm: Firm, site: Site) -> None:
    Spa.objects.filter(pk=in_firm.spa.pk).update(reference="T1", name="Barn tub")

    listing = uploaded(in_firm, "spa", SPAS + "S1,T1,Barn tub,1300,6,\nS1,T2,Pool tub,900,,\n")

    assert effects(listing) == ["changed", "new"]
    changed = ListRow.objects.get(effect="changed")
    assert changed.changes == [
        {"column": "volume_l", "old": "1250 L", "new": "1300 L"},
        {"column": "bather_capacity", "old": "", "new": "6 people"},
    ]
    assert listing.totals == {"spa": {"new": 1, "changed": 1, "same": 0, "wrong": 0}}
    again = uploaded(in_firm, "spa", "reference,site_reference,name,volume_l\nT1,S1,Barn tub,1250\n")
    assert effects(again) == ["same"]


def test_a_preview_writes_nothing(in_firm: Firm, site: Site) -> None:
    before = list(Spa.objects.order_by("pk").values())

    uploaded(in_firm, "spa", SPAS + "S1,T2,Pool tub,900,,\n")

    assert list(Spa.objects.order_by("pk").values()) == before


def test_every_error_stands_at_its_cell_with_limit_and_unit(in_firm: Firm, site: Site) -> None:
    rows = [
        "S1,T1,Tub one,50,6,2023-04-18",
        "S1,T2,Tub two,900,99,18.04.2023",
        "S9,T3,Tub three,900,,31/31/2023",
        'S1,T4,Tub four,"1,250",,',
        "S1,T5,,900,,",
        "S1,T6,Tub six,,,",
    ]

    listing = uploaded(in_firm, "spa", SPAS + "\n".join(rows))

    assert problems(listing) == [
        (2, "volume_l", "Volume must be from 100 to 20,000 L."),
        (3, "bather_capacity", "Bather limit must be from 1 to 60 people."),
        (4, "site_reference", "No site has the reference “S9”."),
        (4, "commissioned_on", "Commissioned on must be a day, such as 2026-05-31."),
        (5, "volume_l", "Write 1250 or 1.250: a comma can mean either."),
        (6, "name", "A new row needs its name."),
        (7, "volume_l", "Volume is missing: a number from 100 to 20,000 L."),
    ]


def test_figures_may_have_a_decimal_comma_and_days_the_day_first(in_firm: Firm, site: Site) -> None:
    text = "site_reference;name;volume_l;set_temperature_c;commissioned_on\nS1;Tub;900;37,5;18.04.2023\n"

    listing = uploaded(in_firm, "spa", text)

    assert (listing.delimiter, effects(listing)) == (";", ["new"])
    values = {change["column"]: change["new"] for change in ListRow.objects.get().changes}
    assert (values["commissioned_on"], values["set_temperature_c"]) == ("2023-04-18", "37.5 °C")


def test_the_same_reference_twice_is_an_error_at_both_cells(in_firm: Firm) -> None:
    listing = uploaded(in_firm, "client", "reference,name\nC7,A\nC8,B\nC7,C\n")

    assert problems(listing) == [
        (2, "reference", "The same reference “C7” stands in row 4 too."),
        (4, "reference", "The same reference “C7” stands in row 2 too."),
    ]


def test_a_row_without_a_reference_is_found_by_its_name_within_its_parent_and_says_so(
    in_firm: Firm, site: Site
) -> None:
    text = "client,name,parking\nHillside Lets,Mill Barn,On the gravel\n"

    listing = uploaded(in_firm, "site", text)

    row = ListRow.objects.get(listing=listing)
    assert (row.effect, row.object_id) == ("changed", site.pk)
    assert row.remarks == ["Client found by its name.", "Site found by its name."]


def test_a_name_that_several_have_asks_for_the_reference(in_firm: Firm) -> None:
    Client.objects.update(name="Hillside Lets")

    listing = uploaded(in_firm, "client", "name,phone\nHillside Lets,1\n")

    assert problems(listing) == [(2, "name", "2 clients are called “Hillside Lets”: give the reference.")]


def test_what_is_archived_or_belongs_elsewhere_is_refused(in_firm: Firm, site: Site) -> None:
    Spa.objects.filter(pk=in_firm.hidden_spa.pk).update(reference="T9", name="Far tub")
    archive(place=in_firm.hidden_client, by=in_firm.office)

    listing = uploaded(in_firm, "spa", SPAS + "S1,T9,Far tub,1250,,\n")

    said = [message for _, _, message in problems(listing)]
    assert any("is archived. Bring it back into use first." in message for message in said)
    assert "It belongs to another site. A list does not move it." in said


def test_half_a_position_is_an_error_at_the_missing_half(in_firm: Firm, site: Site) -> None:
    listing = uploaded(in_firm, "site", "client_reference,name,latitude,longitude\nC1,New barn,54.1,\n")

    assert problems(listing) == [(2, "longitude", "A position needs both: the longitude is missing.")]


def test_a_formula_is_an_error_and_text_that_looks_like_one_is_text(in_firm: Firm) -> None:
    sheet = workbook({"Clients": [["name", "notes"], ["A", "=1+1"]]})
    assert problems(uploaded(in_firm, "client", sheet))[0][1] == "notes"

    listing = uploaded(in_firm, "client", "name,notes,phone\nA,=1+1,+44 1632 960123\n")
    assert effects(listing) == ["new"]


def test_a_gate_code_is_neither_shown_nor_kept_open(in_firm: Firm, site: Site) -> None:
    listing = uploaded(in_firm, "site", "reference,client,access_code\nS1,Hillside Lets,9911secret\n")

    row = ListRow.objects.get(listing=listing)
    assert row.changes == [{"column": "access_code", "old": "sealed", "new": "another, sealed"}]
    with default_storage.open(str(listing.file)) as file:
        assert b"9911secret" not in file.read()
    with connection.cursor() as cursor:
        cursor.execute("SELECT payload FROM importing_listrow")
        assert "9911secret" not in str(cursor.fetchall())
    too_long = uploaded(in_firm, "site", f"reference,client,access_code\nS1,Hillside Lets,{'9' * 201}\n")
    assert ListRow.objects.get(listing=too_long).problems[0]["typed"] == ""


def test_a_workbook_with_a_sheet_for_each_may_name_what_it_adds(in_firm: Firm) -> None:
    data = workbook(
        {
            "Spas": [["site_reference", "reference", "name", "volume_l"], ["S7", "T7", "Tub", 900]],
            "Clients": [["reference", "name"], ["C7", "New client"]],
            "Sites": [["client_reference", "reference", "name"], ["C7", "S7", "New site"]],
            "Past readings": [["spa_reference", "taken_at", "ph"], ["T7", "2025-06-14 10:30", 7.4]],
        }
    )

    listing = uploaded(in_firm, "all", data, "all.xlsx")

    assert problems(listing) == []
    assert {kind: counts["new"] for kind, counts in listing.totals.items()} == {
        "client": 1,
        "site": 1,
        "spa": 1,
        "reading": 1,
    }


def test_a_row_below_one_with_errors_says_so(in_firm: Firm) -> None:
    data = workbook(
        {
            "Clients": [["reference", "name", "email"], ["C7", "New client", "no address"]],
            "Sites": [["client_reference", "name"], ["C7", "New site"]],
        }
    )

    assert problems(uploaded(in_firm, "all", data))[-1] == (
        2,
        "client_reference",
        "The row of client “C7” in this list has errors.",
    )


def test_what_was_guessed_is_shown_and_can_be_changed(in_firm: Firm) -> None:
    data = "name,notes\nA,Größe\n".encode("cp1252")
    listing = uploaded(in_firm, "client", data)
    assert not listing.encoding_sure

    read_again(listing=listing, kind="client", encoding="windows-1252", delimiter=",", by=in_firm.office)

    assert fresh(listing).encoding_sure
    row = ListRow.objects.get(listing=listing)
    assert row.changes[1] == {"column": "notes", "old": "", "new": "Größe"}


def test_a_file_that_cannot_be_read_says_why_and_can_be_read_otherwise(in_firm: Firm) -> None:
    listing = uploaded(in_firm, "client", "Firma;Ort\nA;B\n")

    assert listing.state == ListState.UNREADABLE
    assert "Firma;Ort" in listing.problem or "Firma, Ort" in listing.problem


@pytest.mark.parametrize("data", [b"", b"x" * (5 * 1024 * 1024 + 1)])
def test_an_empty_file_or_one_too_large_is_refused_at_the_field(in_firm: Firm, data: bytes) -> None:
    with pytest.raises(ValidationError) as refused:
        upload_list(kind="client", file_name="x.csv", data=data, by=in_firm.office)

    assert list(refused.value.message_dict) == ["upload"]
    assert not ListImport.objects.exists()


def test_only_those_who_may_import_can(in_firm: Firm) -> None:
    with pytest.raises(NotAllowed):
        upload_list(kind="client", file_name="x.csv", data=b"name\nA\n", by=in_firm.technician)


def test_a_large_list_is_read_in_the_background(in_firm: Firm, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(upload_module, "AT_ONCE_MAX_BYTES", 10)
    listing = uploaded(in_firm, "client", "reference,name\nC7,A\nC8,B\n")
    assert (listing.state, effects(listing), listing.run.task) == (ListState.READING, [], READ_TASK)

    do_run(listing.run.pk, lambda run: read_now(listing, in_firm.office, run))

    assert (fresh(listing).state, effects(listing)) == (ListState.READY, ["new", "new"])
    listing.run.refresh_from_db()
    assert (listing.run.state, listing.run.progress_total) == ("done", 2)


def test_a_dropped_list_leaves_neither_file_nor_rows(
    in_firm: Firm, django_capture_on_commit_callbacks: Any
) -> None:
    listing = uploaded(in_firm, "client", "name\nA\n")
    assert bytes_of(listing) == b"name\nA\n"
    name = str(listing.file)

    with django_capture_on_commit_callbacks(execute=True):
        drop_list(listing=listing, by=in_firm.office)

    assert (fresh(listing).state, effects(listing)) == (ListState.DROPPED, [])
    assert not default_storage.exists(name)
    with pytest.raises(ValidationError, match="no longer waits"):
        drop_list(listing=listing, by=in_firm.office)


def test_a_list_nobody_comes_back_to_is_dropped_after_a_day(firm: Firm) -> None:
    with scope(organisation=firm.organisation):
        listing = uploaded(firm, "client", "name\nA\n")

    assert drop_stale(timezone.now() + timedelta(hours=23)) == 0
    assert drop_stale(timezone.now() + timedelta(hours=25)) == 1

    with scope(organisation=firm.organisation):
        assert fresh(listing).state == ListState.DROPPED
        assert AuditEvent.objects.filter(action="list.dropped").count() == 1


def test_another_firms_references_are_unknown_here(in_firm: Firm, stranger: Firm) -> None:
    with scope(organisation=stranger.organisation):
        change_client(client=stranger.client, by=stranger.office, reference="C77")

    listing = uploaded(in_firm, "site", "client_reference,name\nC77,X\n")

    assert problems(listing) == [(2, "client_reference", "No client has the reference “C77”.")]
