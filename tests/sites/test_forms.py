"""What is typed on the pages of the register: kept, understood, or told at its field with limit and unit."""

from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse
from django_scopes import scope

from accounts.models import AuditEvent
from accounts.roles import ALLOWED, Action, Role
from service.sites.archive import archive
from service.sites.models import Client, Site, Spa
from service.sites.register import change_client
from tests.personas import Firm
from tests.sites.posting import CLIENT, SITE, SPA


@pytest.fixture
def office(firm: Firm, sign_in: Any) -> Any:
    return sign_in(firm.office)


def errors(answer: Any) -> dict[str, list[str]]:
    assert answer.status_code == 200, "a form with errors is shown again"
    return dict(answer.context["form"].errors)


def url(name: str, row: Any = None) -> str:
    return reverse(f"sites:{name}", args=[row.pk] if row else [])


# --- the ordinary way -------------------------------------------------------------------------


def test_a_client_a_site_and_a_spa_are_added_one_after_the_other(firm: Firm, office: Any) -> None:
    added = office.post(url("client_new"), CLIENT | {"notes": "Pays monthly."})
    with scope(organisation=firm.organisation):
        client = Client.objects.get(name="Larch Lets")
    assert added["Location"] == url("client", client)

    office.post(url("site_new", client), SITE | {"access_code": "4711#", "tap": "Garden tap"})
    with scope(organisation=firm.organisation):
        site = Site.objects.get(name="Heron Cottage")
    assert (site.client, site.latitude, site.access_code) == (client, Decimal("54.123456"), "4711#")

    office.post(url("spa_new", site), SPA | {"forbidden_substances": ["trichlor", "bcdmh"]})
    with scope(organisation=firm.organisation):
        spa = Spa.objects.get(name="Terrace tub")
        assert spa.site == site
        assert sorted(spa.forbidden_substances) == ["bcdmh", "trichlor"]
        added_events = AuditEvent.objects.order_by("id").values_list("action", flat=True)
        assert list(added_events) == ["client.added", "site.added", "spa.added"]


def test_an_edit_shows_what_is_stored_and_saves_what_is_changed(firm: Firm, office: Any) -> None:
    form = office.get(url("spa_edit", firm.spa)).context["form"]
    assert form["volume_l"].value() == 1250

    answer = office.post(url("spa_edit", firm.spa), SPA | {"cover": "Folding cover, lifter left"})

    assert answer["Location"] == url("spa", firm.spa)
    with scope(organisation=firm.organisation):
        assert Spa.objects.get(pk=firm.spa.pk).cover == "Folding cover, lifter left"


def test_the_maker_s_excluded_products_are_offered_by_readable_name(firm: Firm, office: Any) -> None:
    page = office.get(url("spa_new", firm.site)).content.decode()

    assert "Trichloroisocyanuric acid" in page
    assert "Calcium chloride, anhydrous" in page


# --- numbers ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "typed", "message"),
    [
        ("volume_l", "99", "Volume must be from 100 to 20,000 L."),
        ("volume_l", "20001", "Volume must be from 100 to 20,000 L."),
        ("volume_l", "about 1200", "Volume must be a number, from 100 to 20,000 L."),
        ("volume_l", "1250.5", "Volume must be a whole number."),
        ("volume_l", "1,250", "Write 1250 or 1.250: a comma can mean either."),
        ("volume_l", "NaN", "Volume must be a number, from 100 to 20,000 L."),
        ("volume_l", "", "Volume is missing: a number from 100 to 20,000 L."),
        ("set_temperature_c", "41", "Set temperature must be from 5 to 40 °C."),
        ("set_temperature_c", "38.55", "Set temperature must be a number with one decimal at most."),
        ("heater_kw", "-1", "Heater must be from 0 to 100 kW."),
        ("fill_l_per_minute", "501", "Fill rate must be from 0 to 500 L/min."),
        ("bather_capacity", "61", "Bather limit must be from 1 to 60 people."),
        ("commissioned_on", "1949-12-31", "Commissioned on must be a day from 1950 to 2100."),
        ("commissioned_on", "yesterday", "Commissioned on must be a day, such as 2026-05-31."),
    ],
)
def test_a_number_out_of_its_limits_is_told_with_limit_and_unit(
    firm: Firm, office: Any, field: str, typed: str, message: str
) -> None:
    answer = office.post(url("spa_new", firm.site), SPA | {field: typed, "notes": "Typed with care."})

    assert message in errors(answer)[field]
    assert answer.context["form"][field].value() == typed
    assert "Typed with care." in answer.content.decode()
    with scope(organisation=firm.organisation):
        assert not Spa.objects.filter(name="Terrace tub").exists()


@pytest.mark.parametrize("typed", ["3.5", "3,5", " 3,5 "])
def test_a_decimal_comma_is_read_as_a_point(firm: Firm, office: Any, typed: str) -> None:
    office.post(url("spa_new", firm.site), SPA | {"heater_kw": typed})

    with scope(organisation=firm.organisation):
        assert Spa.objects.get(name="Terrace tub").heater_kw == Decimal("3.5")


def test_half_a_position_is_told_at_the_missing_half(firm: Firm, office: Any) -> None:
    answer = office.post(url("site_new", firm.client), SITE | {"longitude": ""})

    assert errors(answer) == {"longitude": ["A position needs both: the longitude is missing."]}
    assert 'value="54.123456"' in answer.content.decode()


@pytest.mark.parametrize(
    ("field", "typed", "message"),
    [
        ("latitude", "90.1", "Latitude must be from -90 to 90 °."),
        ("longitude", "181", "Longitude must be from -180 to 180 °."),
        ("latitude", "54.1234567", "Latitude must be a number with 6 decimals at most."),
    ],
)
def test_a_position_off_the_globe_is_refused(
    firm: Firm, office: Any, field: str, typed: str, message: str
) -> None:
    answer = office.post(url("site_new", firm.client), SITE | {field: typed})

    assert errors(answer) == {field: [message]}


# --- words ------------------------------------------------------------------------------------


def test_words_that_are_too_long_are_kept_and_told(firm: Firm, office: Any) -> None:
    long = "x" * 121
    answer = office.post(url("client_new"), CLIENT | {"name": long})

    assert errors(answer) == {"name": ["Ensure this value has at most 120 characters (it has 121)."]}
    assert long in answer.content.decode()


def test_the_browser_does_not_cut_what_is_pasted(firm: Firm, office: Any) -> None:
    for page in (url("client_new"), url("site_new", firm.client), url("spa_new", firm.site)):
        assert "maxlength" not in office.get(page).content.decode()


@pytest.mark.parametrize(
    ("field", "typed"),
    [("name", "a\0b"), ("name", "   "), ("email", "not an address"), ("kind", "castle")],
    ids=["null", "blank", "address", "choice"],
)
def test_words_that_cannot_be_are_told_at_their_field(
    firm: Firm, office: Any, field: str, typed: str
) -> None:
    assert list(errors(office.post(url("client_new"), CLIENT | {field: typed}))) == [field]


def test_markup_in_a_name_is_shown_as_words(firm: Firm, office: Any) -> None:
    answer = office.post(url("client_new"), CLIENT | {"name": "<b>Larch</b>"}, follow=True)

    assert "<b>Larch</b>" not in answer.content.decode()
    assert "&lt;b&gt;Larch&lt;/b&gt;" in answer.content.decode()


def test_a_reference_that_is_taken_is_told_with_who_has_it(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        change_client(client=firm.client, by=firm.office, reference="C-14")

    answer = office.post(url("client_new"), CLIENT | {"reference": "C-14", "phone": "000 5550 1"})

    assert errors(answer) == {"reference": [f"“C-14” is already taken by another client, {firm.client}."]}
    assert 'value="000 5550 1"' in answer.content.decode()


def test_a_change_that_is_refused_leaves_the_heading_as_stored(firm: Firm, office: Any) -> None:
    answer = office.post(url("client_edit", firm.client), CLIENT | {"name": "Typed", "email": "wrong"})

    page = answer.content.decode()
    assert f"Change {firm.client}" in page
    assert 'value="Typed"' in page


def test_nothing_is_added_to_a_site_that_is_archived(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        archive(place=firm.site, by=firm.office)

    answer = office.post(url("spa_new", firm.site), SPA)

    assert "is archived. Bring it back into use first." in answer.content.decode()
    assert 'value="1250"' in answer.content.decode()


# --- volume -----------------------------------------------------------------------------------


def test_a_new_volume_is_asked_about_before_it_is_saved(firm: Firm, office: Any) -> None:
    changed = SPA | {"volume_l": "1500"}
    asked = office.post(url("spa_edit", firm.spa), changed)

    assert errors(asked) == {
        "volume_confirmed": ["The volume changes from 1,250 to 1,500 L: tick to say that it is right."]
    }
    assert "earlier records keep the volume they were dosed for" in asked.content.decode()
    with scope(organisation=firm.organisation):
        assert Spa.objects.get(pk=firm.spa.pk).volume_l == 1250

    office.post(url("spa_edit", firm.spa), changed | {"volume_confirmed": "on"})

    with scope(organisation=firm.organisation):
        assert Spa.objects.get(pk=firm.spa.pk).volume_l == 1500


def test_nothing_is_asked_when_the_volume_stays(firm: Firm, office: Any) -> None:
    assert "volume_confirmed" not in office.get(url("spa_edit", firm.spa)).content.decode()
    assert office.post(url("spa_edit", firm.spa), SPA).status_code == 302


def test_those_who_may_not_change_a_volume_cannot_type_one(
    firm: Firm, office: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(ALLOWED, Role.OFFICE, ALLOWED[Role.OFFICE] - {Action.CHANGE_VOLUME})
    office.post(url("spa_edit", firm.spa), SPA | {"volume_l": "1500", "cover": "New cover"})

    with scope(organisation=firm.organisation):
        spa = Spa.objects.get(pk=firm.spa.pk)
        assert (spa.volume_l, spa.cover) == (1250, "New cover")


# --- archive ----------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["client", "site", "spa"])
def test_archiving_is_asked_about_done_and_taken_back(firm: Firm, office: Any, kind: str) -> None:
    row = getattr(firm, kind)
    question = office.get(url(f"{kind}_archive", row)).content.decode()
    assert f"Archive {row}?" in question
    assert "Visits already planned stay in the plan" in question

    archived = office.post(url(f"{kind}_archive", row), follow=True).content.decode()
    assert f"The {kind} {row} is archived." in archived
    assert "Bring it back into use" in archived

    back = office.post(url(f"{kind}_restore", row), follow=True).content.decode()
    assert f"{row} is back in use." in back
    assert "Bring it back into use" not in back


def test_a_spa_that_comes_back_under_an_archived_client_is_told_to_wait(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        archive(place=firm.client, by=firm.office)
        archive(place=firm.spa, by=firm.office)

    page = office.post(url("spa_restore", firm.spa), follow=True).content.decode()

    assert f"{firm.spa} is back, but takes no visits yet. The client {firm.client} is archived." in page


# --- rental managers --------------------------------------------------------------------------


def test_the_owner_chooses_who_sees_a_client(firm: Firm, sign_in: Any) -> None:
    owner = sign_in(firm.owner)
    page = owner.get(url("client", firm.hidden_client))
    assert firm.rental_manager.email in page.content.decode()

    owner.post(url("client_access_grant", firm.hidden_client), {"person": firm.rental_manager.pk})
    manager = sign_in(firm.rental_manager)
    assert manager.get(url("client", firm.hidden_client)).status_code == 200

    access = owner.get(url("client", firm.hidden_client)).context["accesses"][0]
    owner.post(reverse("sites:client_access_withdraw", args=[firm.hidden_client.pk, access.pk]))
    assert manager.get(url("client", firm.hidden_client)).status_code == 404


def test_somebody_who_is_no_rental_manager_cannot_be_chosen(firm: Firm, stranger: Firm, sign_in: Any) -> None:
    owner = sign_in(firm.owner)
    for person in (firm.technician, stranger.rental_manager):
        page = owner.post(
            url("client_access_grant", firm.hidden_client), {"person": person.pk}, follow=True
        ).content.decode()

        assert "Choose a rental manager of your firm." in page
