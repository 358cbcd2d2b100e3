"""A confirmed list is written whole or not at all, and only if what its preview showed still holds."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import NotAllowed
from accounts.models import AuditEvent, RoleGrant
from accounts.roles import Role
from service.importing import write as write_module
from service.importing.models import ListState
from service.importing.write import confirm_list, write_list
from service.runs.ask import cancel_run
from service.runs.models import Run, RunState
from service.runs.work import claim, do_run
from service.sites.archive import archive
from service.sites.models import Client, Site, Spa
from service.sites.register import add_client, change_client, change_spa
from tests.importing.listing import confirmed, effects, fresh, uploaded, workbook, written
from tests.personas import Firm

NEW = "reference,name,phone\nC7,Hillside Lets,+44 1632 960123\nC8,Lakeside Lets,\n"


def test_a_confirmed_list_is_written_with_one_audit_event(in_firm: Firm) -> None:
    listing = written(in_firm, "client", NEW)

    assert (listing.state, str(listing.file)) == (ListState.DONE, "")
    made = Client.objects.get(reference="C7")
    assert (made.name, made.phone, made.kind) == ("Hillside Lets", "+44 1632 960123", "let")
    (event,) = AuditEvent.objects.filter(action="list.imported")
    assert (event.detail, event.subject_id) == ({"client": {"new": 2}}, str(listing.pk))
    assert event.actor_id == in_firm.office.pk


def test_every_kind_of_field_arrives_as_a_page_would_have_saved_it(in_firm: Firm) -> None:
    Site.objects.filter(pk=in_firm.site.pk).update(reference="S1")
    text = (
        "site_reference;name;volume_l;sanitiser;set_temperature_c;commissioned_on;forbidden_substances;notes\n"
        'S1;Tub;900;Bromine;37,5;18.04.2023;"trichlor; bcdmh";"two\r\nlines"\n'
    )

    written(in_firm, "spa", text)

    spa = Spa.objects.get(name="Tub")
    assert (spa.site, spa.volume_l, spa.sanitiser) == (in_firm.site, 900, "bromine")
    assert (spa.set_temperature_c, str(spa.commissioned_on)) == (Decimal("37.5"), "2023-04-18")
    assert (spa.forbidden_substances, spa.notes) == (["trichlor", "bcdmh"], "two\nlines")
    assert (spa.volume_basis, spa.heater_kw) == ("guess", None)
    spa.full_clean()


def test_a_gate_code_comes_in_sealed_and_an_empty_cell_leaves_it_alone(in_firm: Firm) -> None:
    Site.objects.filter(pk=in_firm.site.pk).update(reference="S1")
    client = in_firm.client.name

    written(in_firm, "site", f"reference,client,access_code,access_notes\nS1,{client},8822,\n")

    site = Site.objects.get(pk=in_firm.site.pk)
    assert (site.access_code, site.access_notes) == ("8822", "Side gate")


def test_all_kinds_of_a_workbook_are_written_in_one_go(in_firm: Firm) -> None:
    data = workbook(
        {
            "Spas": [["site_reference", "reference", "name", "volume_l"], ["S7", "T7", "Tub", 900]],
            "Clients": [["reference", "name"], ["C7", "New client"]],
            "Sites": [["client_reference", "reference", "name"], ["C7", "S7", "New site"]],
        }
    )

    written(in_firm, "all", data)

    assert Spa.objects.get(reference="T7").site.client.reference == "C7"


def test_a_list_with_errors_is_confirmed_only_for_its_good_rows(in_firm: Firm) -> None:
    listing = uploaded(in_firm, "client", "reference,name,email\nC7,A,wrong\nC8,B,b@c.example\n")
    with pytest.raises(ValidationError, match="1 row has errors"):
        confirm_list(listing=listing, only_good=False, by=in_firm.office)

    assert confirmed(in_firm, listing, only_good=True).state == RunState.DONE
    assert list(Client.objects.filter(reference__in=["C7", "C8"]).values_list("name", flat=True)) == ["B"]


def test_a_list_that_changes_nothing_is_not_confirmed(in_firm: Firm) -> None:
    listing = uploaded(in_firm, "client", f"name\n{in_firm.client.name}\n")

    with pytest.raises(ValidationError, match="Nothing in this list"):
        confirm_list(listing=listing, only_good=False, by=in_firm.office)


def test_only_those_who_may_import_confirm_and_the_right_is_asked_again_at_the_writing(in_firm: Firm) -> None:
    listing = uploaded(in_firm, "client", NEW)
    with pytest.raises(NotAllowed):
        confirm_list(listing=listing, only_good=False, by=in_firm.technician)
    run = confirm_list(listing=listing, only_good=False, by=in_firm.office)
    RoleGrant.objects.filter(person=in_firm.office, role=Role.OFFICE).delete()

    do_run(run.pk, write_list)

    assert Run.objects.get(pk=run.pk).state == RunState.FAILED
    assert not Client.objects.filter(reference="C7").exists()


def test_what_was_added_meanwhile_stops_it_with_words(in_firm: Firm) -> None:
    listing = uploaded(in_firm, "client", NEW)
    add_client(by=in_firm.office, name="Other", reference="C8")

    run = confirmed(in_firm, listing)

    assert run.state == RunState.FAILED
    assert "Client in row 3: the reference “C8” has been taken meanwhile." in run.error
    assert not Client.objects.filter(reference="C7").exists()
    assert (fresh(listing).state, fresh(listing).problem != "") == (ListState.READY, True)
    with pytest.raises(ValidationError, match="Read the list again"):
        confirm_list(listing=listing, only_good=False, by=in_firm.office)


def test_what_was_changed_meanwhile_stops_it_with_words(in_firm: Firm) -> None:
    change_client(client=in_firm.client, by=in_firm.office, reference="C1")
    listing = uploaded(in_firm, "client", f"reference,name,phone\nC1,{in_firm.client.name},123\n")
    change_client(client=in_firm.client, by=in_firm.office, phone="456")

    run = confirmed(in_firm, listing)

    assert "phone of" in run.error
    assert "changed meanwhile" in run.error
    assert Client.objects.get(pk=in_firm.client.pk).phone == "456"


def test_a_change_to_another_field_meanwhile_is_kept(in_firm: Firm) -> None:
    spa = change_spa(spa=in_firm.spa, by=in_firm.office, reference="T1")
    site = in_firm.site.name
    listing = uploaded(in_firm, "spa", f"reference,site,volume_l\nT1,{site},1300\n")
    change_spa(spa=spa, by=in_firm.office, notes="Mind the step")

    assert confirmed(in_firm, listing).state == RunState.DONE

    spa.refresh_from_db()
    assert (spa.volume_l, spa.notes) == (1300, "Mind the step")


def test_a_parent_that_was_archived_meanwhile_stops_it(in_firm: Firm) -> None:
    listing = uploaded(in_firm, "site", f"client,name\n{in_firm.client.name},New barn\n")
    archive(place=in_firm.client, by=in_firm.office)

    assert "is archived" in confirmed(in_firm, listing).error
    assert not Site.objects.filter(name="New barn").exists()


def test_a_failure_in_the_middle_leaves_nothing(in_firm: Firm, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(write_module, "CHUNK_ROWS", 1)
    listing = uploaded(in_firm, "client", NEW)
    asked = confirm_list(listing=listing, only_good=False, by=in_firm.office)
    mine = claim(asked.pk)
    assert mine is not None
    calls = []

    def stop_at_second(run: Run) -> None:
        calls.append(run)
        if len(calls) == 2:
            raise RuntimeError

    monkeypatch.setattr(write_module, "_stop_if_asked", stop_at_second)
    with pytest.raises(RuntimeError), transaction.atomic():
        write_list(mine)

    assert not Client.objects.filter(reference__in=["C7", "C8"]).exists()
    assert fresh(listing).state == ListState.WRITING


def test_a_run_that_is_stopped_writes_nothing_and_the_list_waits_again(in_firm: Firm) -> None:
    listing = uploaded(in_firm, "client", NEW)
    run = confirm_list(listing=listing, only_good=False, by=in_firm.office)
    cancel_run(run=run, by=in_firm.office)

    do_run(run.pk, write_list)

    assert not Client.objects.filter(reference="C7").exists()
    assert confirmed(in_firm, listing).state == RunState.DONE


def test_a_run_done_twice_writes_once(in_firm: Firm) -> None:
    listing = uploaded(in_firm, "client", NEW)
    run = confirm_list(listing=listing, only_good=False, by=in_firm.office)
    do_run(run.pk, write_list)

    Run.objects.filter(pk=run.pk).update(state=RunState.QUEUED)
    do_run(run.pk, write_list)

    assert Client.objects.filter(reference="C7").count() == 1
    assert effects(listing) == ["new", "new"]
