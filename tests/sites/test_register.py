"""Adding, changing and archiving: one transaction with its audit row, by those who may."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from accounts.roles import ALLOWED, Action, Role
from service.sites import saving
from service.sites.archive import archive, in_use, restore, why_not_in_use
from service.sites.client_access import grant_client_access, withdraw_client_access
from service.sites.models import Client, ClientAccess, Site, Spa
from service.sites.register import add_client, add_site, add_spa, change_client, change_site, change_spa
from tests.factories import ClientFactory, PersonFactory, SiteFactory, SpaFactory
from tests.personas import Firm

READERS = [Role.TECHNICIAN, Role.RENTAL_MANAGER, Role.AUDITOR]


def trail() -> list[tuple[str, str, Any]]:
    return [(event.action, event.subject_id, event.detail) for event in AuditEvent.objects.order_by("id")]


def test_a_client_is_added_with_its_audit_row(in_firm: Firm) -> None:
    client = add_client(by=in_firm.office, name="Larch Lets", kind="hotel", reference="C-1")

    assert Client.objects.get(pk=client.pk).organisation == in_firm.organisation
    assert trail() == [("client.added", str(client.pk), {})]
    assert AuditEvent.objects.get().actor_id == in_firm.office.pk


def test_a_site_and_a_spa_are_added_under_their_client(in_firm: Firm) -> None:
    site = add_site(client=in_firm.client, by=in_firm.office, name="Heron Cottage")
    spa = add_spa(site=site, by=in_firm.office, name="Terrace tub", volume_l=1250)

    assert (site.client, spa.site) == (in_firm.client, site)
    assert [event[0] for event in trail()] == ["site.added", "spa.added"]


def test_a_change_names_its_fields_and_never_their_words(in_firm: Firm) -> None:
    change_site(site=in_firm.site, by=in_firm.office, access_code="9911#", access_notes="Ask Wil", tap="Shed")

    assert trail() == [
        ("site.changed", str(in_firm.site.pk), {"changed": ["access_code", "access_notes", "tap"]})
    ]
    in_firm.site.refresh_from_db()
    assert in_firm.site.access_code == "9911#"


def test_nothing_is_written_when_nothing_differs(in_firm: Firm) -> None:
    change_client(client=in_firm.client, by=in_firm.office, name=in_firm.client.name)

    assert trail() == []


def test_a_change_leaves_alone_what_somebody_else_changed_meanwhile(in_firm: Firm) -> None:
    Client.objects.filter(pk=in_firm.client.pk).update(phone="000 5550 199")

    change_client(client=in_firm.client, by=in_firm.office, name="New name")

    stored = Client.objects.get(pk=in_firm.client.pk)
    assert (stored.name, stored.phone) == ("New name", "000 5550 199")


def test_the_trail_keeps_the_old_and_the_new_volume(in_firm: Firm) -> None:
    changed = change_spa(spa=in_firm.spa, by=in_firm.office, volume_l=Decimal(1500), volume_basis="measured")

    assert changed.volume_l == 1500
    detail = AuditEvent.objects.get(action="spa.changed").detail
    assert detail["volume_l"] == [1250, 1500]
    assert detail["volume_basis"] == ["plate", "measured"]


@pytest.fixture
def editor_without_volume(monkeypatch: pytest.MonkeyPatch, in_firm: Firm) -> Any:
    """Somebody who may edit sites and not change a volume: a row of the table that may come."""
    monkeypatch.setitem(ALLOWED, Role.AUDITOR, frozenset({Action.SEE_FIRM, Action.EDIT_SITES}))
    return in_firm.auditor


def test_a_volume_is_changed_only_by_those_who_may(in_firm: Firm, editor_without_volume: Any) -> None:
    change_spa(spa=in_firm.spa, by=editor_without_volume, name="Renamed", volume_l=1250)
    with pytest.raises(NotAllowed, match="volume"):
        change_spa(spa=in_firm.spa, by=editor_without_volume, volume_l=1300)

    in_firm.spa.refresh_from_db()
    assert (in_firm.spa.name, in_firm.spa.volume_l) == ("Renamed", 1250)


@pytest.mark.parametrize("role", READERS)
def test_people_who_only_read_write_nothing(in_firm: Firm, role: Role) -> None:
    person = in_firm.people[role]
    attempts = [
        lambda: add_client(by=person, name="X"),
        lambda: change_client(client=in_firm.client, by=person, name="X"),
        lambda: add_site(client=in_firm.client, by=person, name="X"),
        lambda: change_site(site=in_firm.site, by=person, name="X"),
        lambda: add_spa(site=in_firm.site, by=person, name="X", volume_l=1000),
        lambda: change_spa(spa=in_firm.spa, by=person, name="X"),
        lambda: archive(place=in_firm.client, by=person),
        lambda: restore(place=in_firm.client, by=person),
    ]
    for attempt in attempts:
        with pytest.raises(NotAllowed):
            attempt()

    assert trail() == []
    assert not Client.objects.filter(name="X").exists()


def test_a_site_under_another_firms_client_is_refused(in_firm: Firm, stranger: Firm) -> None:
    with pytest.raises(ValidationError):
        add_site(client=stranger.client, by=in_firm.office, name="Ours")

    assert not Site.objects.filter(name="Ours").exists()


@pytest.mark.parametrize(
    ("make", "word"),
    [(ClientFactory, "client"), (SiteFactory, "site"), (SpaFactory, "spa")],
    ids=["client", "site", "spa"],
)
def test_a_reference_stands_once_in_a_firm(in_firm: Firm, stranger: Firm, make: Any, word: str) -> None:
    ours, other = {
        "client": (in_firm.client, in_firm.hidden_client),
        "site": (in_firm.site, in_firm.hidden_site),
        "spa": (in_firm.spa, in_firm.hidden_spa),
    }[word]
    change = {"client": change_client, "site": change_site, "spa": change_spa}[word]
    change(**{word: ours}, by=in_firm.office, reference="R-1")

    with pytest.raises(ValidationError) as refused:
        change(**{word: other}, by=in_firm.office, reference="R-1")

    assert refused.value.message_dict == {"reference": [f"“R-1” is already taken by another {word}, {ours}."]}


def test_an_empty_reference_stands_any_number_of_times_and_another_firm_does_not_count(
    in_firm: Firm, stranger: Firm
) -> None:
    Client.objects.filter(pk=in_firm.client.pk).update(reference="")
    add_client(by=in_firm.office, name="One", reference="")
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE sites_client SET reference = 'R-9' WHERE organisation_id = %s AND name = %s",
            [stranger.organisation.pk.hex, stranger.client.name],
        )

    assert add_client(by=in_firm.office, name="Two", reference="R-9").reference == "R-9"


def test_an_archived_row_still_holds_its_reference_and_the_refusal_says_so(in_firm: Firm) -> None:
    change_client(client=in_firm.client, by=in_firm.office, reference="R-1")
    archive(place=in_firm.client, by=in_firm.office)

    with pytest.raises(ValidationError, match=r"\(archived\)"):
        add_client(by=in_firm.office, name="Other", reference="R-1")


def test_a_reference_taken_between_check_and_save_is_told_at_its_field(
    in_firm: Firm, monkeypatch: pytest.MonkeyPatch
) -> None:
    change_client(client=in_firm.client, by=in_firm.office, reference="R-1")
    look, looked = saving._refuse_second, []

    def blind_at_first(*given: Any) -> None:
        looked.append(given)
        if len(looked) > 1:
            look(*given)

    monkeypatch.setattr(saving, "_refuse_second", blind_at_first)

    with pytest.raises(ValidationError) as refused:
        add_client(by=in_firm.office, name="Other", reference="R-1")

    assert "reference" in refused.value.message_dict
    assert not Client.objects.filter(name="Other").exists()


@pytest.mark.parametrize(
    ("fields", "at"),
    [
        ({"volume_l": 99}, "volume_l"),
        ({"volume_l": 20001}, "volume_l"),
        ({"set_temperature_c": Decimal("40.1")}, "set_temperature_c"),
        ({"bather_capacity": 0}, "bather_capacity"),
        ({"sanitiser": "salt"}, "sanitiser"),
        ({"shell": "paper"}, "shell"),
        ({"forbidden_substances": ["trichlor", "soap"]}, "forbidden_substances"),
        ({"name": ""}, "name"),
    ],
    ids=str,
)
def test_a_spa_that_cannot_be_is_refused_at_its_field(in_firm: Firm, fields: dict[str, Any], at: str) -> None:
    with pytest.raises(ValidationError) as refused:
        change_spa(spa=in_firm.spa, by=in_firm.office, **fields)

    assert list(refused.value.message_dict) == [at]
    assert trail() == []


@pytest.mark.parametrize(("given", "missing"), [("latitude", "longitude"), ("longitude", "latitude")])
def test_half_a_position_is_refused_at_the_missing_half(in_firm: Firm, given: str, missing: str) -> None:
    with pytest.raises(ValidationError) as refused:
        change_site(site=in_firm.site, by=in_firm.office, **{given: Decimal("54.1")})

    assert refused.value.message_dict == {missing: [f"A position needs both: the {missing} is missing."]}


# --- all or nothing ---------------------------------------------------------------------------


@pytest.fixture
def broken_trail(monkeypatch: pytest.MonkeyPatch) -> None:
    """The audit row, the last write of every use case, fails."""

    def fail(**_: Any) -> None:
        raise ConnectionError("the trail cannot be written")

    monkeypatch.setattr(saving, "record_event", fail)


@pytest.mark.django_db(transaction=True)
def test_a_client_is_not_added_when_its_audit_row_fails(in_firm: Firm, broken_trail: None) -> None:
    with pytest.raises(ConnectionError):
        add_client(by=in_firm.office, name="Larch Lets")

    assert not Client.objects.filter(name="Larch Lets").exists()


@pytest.mark.django_db(transaction=True)
def test_a_spa_keeps_its_volume_when_the_audit_row_of_the_change_fails(
    in_firm: Firm, broken_trail: None
) -> None:
    with pytest.raises(ConnectionError):
        change_spa(spa=in_firm.spa, by=in_firm.office, volume_l=1500)

    assert Spa.objects.get(pk=in_firm.spa.pk).volume_l == 1250


# --- out of use and back ----------------------------------------------------------------------


def test_archiving_a_client_takes_its_sites_and_spas_out_of_use(in_firm: Firm) -> None:
    archive(place=in_firm.client, by=in_firm.office)
    spa = Spa.objects.select_related("site__client").get(pk=in_firm.spa.pk)

    assert why_not_in_use(spa) == f"The client {in_firm.client} is archived."
    assert list(in_use(Spa.objects.all())) == [in_firm.hidden_spa]
    assert trail() == [("client.archived", str(in_firm.client.pk), {})]


def test_archiving_twice_keeps_the_first_time_and_one_audit_row(in_firm: Firm) -> None:
    archive(place=in_firm.spa, by=in_firm.office)
    first = Spa.objects.get(pk=in_firm.spa.pk).archived_at
    archive(place=in_firm.spa, by=in_firm.office)

    assert Spa.objects.get(pk=in_firm.spa.pk).archived_at == first
    assert [event[0] for event in trail()] == ["spa.archived"]


def test_what_was_archived_by_itself_stays_archived_when_its_client_comes_back(in_firm: Firm) -> None:
    archive(place=in_firm.spa, by=in_firm.office)
    archive(place=in_firm.client, by=in_firm.office)
    restore(place=in_firm.client, by=in_firm.office)
    spa = Spa.objects.select_related("site__client").get(pk=in_firm.spa.pk)

    assert why_not_in_use(spa) == f"The spa {in_firm.spa} is archived."
    restore(place=spa, by=in_firm.office)
    spa.refresh_from_db()
    assert why_not_in_use(spa) == ""
    assert [event[0] for event in trail()] == [
        "spa.archived",
        "client.archived",
        "client.restored",
        "spa.restored",
    ]


def test_nothing_is_added_under_what_is_archived(in_firm: Firm) -> None:
    archive(place=in_firm.client, by=in_firm.office)
    site = Site.objects.select_related("client").get(pk=in_firm.site.pk)

    with pytest.raises(ValidationError, match="archived"):
        add_site(client=site.client, by=in_firm.office, name="X")
    with pytest.raises(ValidationError, match="archived"):
        add_spa(site=site, by=in_firm.office, name="X", volume_l=1000)


# --- rental managers --------------------------------------------------------------------------


def test_the_owner_lets_a_rental_manager_see_a_client_and_hides_it_again(in_firm: Firm) -> None:
    manager = in_firm.rental_manager
    access = grant_client_access(client=in_firm.hidden_client, person=manager, by=in_firm.owner)
    again = grant_client_access(client=in_firm.hidden_client, person=manager, by=in_firm.owner)

    assert again == access
    withdraw_client_access(access=access, by=in_firm.owner)

    assert not ClientAccess.objects.filter(client=in_firm.hidden_client).exists()
    key = str(in_firm.hidden_client.pk)
    detail = {"person": str(manager.pk)}
    assert trail() == [("client.access_granted", key, detail), ("client.access_withdrawn", key, detail)]


def test_access_is_for_rental_managers_of_the_same_firm_only(in_firm: Firm, stranger: Firm) -> None:
    plain = PersonFactory(organisation=in_firm.organisation, roles=[])
    for person in (stranger.rental_manager, in_firm.technician, plain):
        with pytest.raises(ValidationError):
            grant_client_access(client=in_firm.client, person=person, by=in_firm.owner)


def test_the_office_does_not_decide_who_sees_a_client(in_firm: Firm) -> None:
    with pytest.raises(NotAllowed):
        grant_client_access(client=in_firm.client, person=in_firm.rental_manager, by=in_firm.office)
    with pytest.raises(NotAllowed):
        withdraw_client_access(access=ClientAccess.objects.get(), by=in_firm.office)
