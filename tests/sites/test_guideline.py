"""Which guideline set judges a spa: inherited, chosen, refused where it cannot judge."""

from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django_scopes import scope

from accounts.access import NotAllowed
from accounts.models import AuditEvent, Organisation
from service.chemistry.guidelines import available, get
from service.sites.guideline import choose_guideline, in_force, inherited, why_unsuited
from service.sites.models import Client, Sanitiser, Site, Spa
from tests.factories import SiteFactory, SpaFactory
from tests.personas import Firm

# Anchorage's rules, as shipped, give no figure for bromine; the District's give both.
NO_BROMINE = "anchorage_16_15"
BOTH = "dc_25c"


def fresh(spa: Spa) -> Spa:
    return Spa.objects.select_related("site__client__organisation").get(pk=spa.pk)


def test_the_sets_these_tests_lean_on_are_as_they_say() -> None:
    assert not get(NO_BROMINE).limits_sanitiser("bromine")
    assert get(NO_BROMINE).limits_sanitiser("chlorine")
    assert get(BOTH).limits_sanitiser("bromine")


def test_a_spa_follows_the_nearest_choice_above_it_and_says_whose(in_firm: Firm) -> None:
    Organisation.objects.update(guideline_id="who_2007")
    seen = []
    for level, chosen in (
        (None, None),
        (in_firm.client, "mahc"),
        (in_firm.site, "dc_25c"),
        (in_firm.spa, "nsw"),
    ):
        if level is not None:
            type(level).objects.filter(pk=level.pk).update(guideline_id=chosen)
        force = in_force(fresh(in_firm.spa))
        seen.append((force.guideline_id, force.chosen_words, force.inherited))

    assert seen == [
        ("who_2007", f"from the firm, {in_firm.organisation}", True),
        ("mahc", f"from the client, {in_firm.client}", True),
        ("dc_25c", f"from the site, {in_firm.site}", True),
        ("nsw", "chosen for this spa", False),
    ]
    assert inherited(fresh(in_firm.spa)).guideline_id == "dc_25c"
    assert fresh(in_firm.spa).guideline_in_force() == "nsw"


def test_a_choice_is_kept_with_its_audit_row(in_firm: Firm) -> None:
    choose_guideline(place=fresh(in_firm.spa), guideline_id="mahc", by=in_firm.office)

    assert fresh(in_firm.spa).guideline_id == "mahc"
    event = AuditEvent.objects.get()
    assert (event.action, event.detail["guideline_id"]) == ("spa.guideline_chosen", ["", "mahc"])


@pytest.mark.parametrize("sanitiser", ["chlorine", "other"])
def test_a_set_without_bromine_may_judge_a_spa_on_something_else(in_firm: Firm, sanitiser: str) -> None:
    Spa.objects.update(sanitiser=sanitiser)

    choose_guideline(place=fresh(in_firm.spa), guideline_id=NO_BROMINE, by=in_firm.office)


def refusal(place: Any, guideline_id: str, by: Any) -> str:
    with pytest.raises(ValidationError) as refused:
        choose_guideline(place=place, guideline_id=guideline_id, by=by)
    assert list(refused.value.message_dict) == ["guideline_id"]
    assert AuditEvent.objects.count() == 0
    return refused.value.messages[0]


def test_a_set_without_a_figure_for_the_spas_sanitiser_is_refused_in_words(in_firm: Firm) -> None:
    Spa.objects.filter(pk=in_firm.spa.pk).update(sanitiser="bromine")

    assert refusal(fresh(in_firm.spa), NO_BROMINE, in_firm.office) == (
        f"{get(NO_BROMINE).title}: this set gives no figure for bromine, so it cannot judge a spa on bromine "
        "alone. Choose a set that gives one, or use the two together."
    )


@pytest.mark.parametrize("kind", ["client", "site"])
def test_a_choice_above_is_refused_when_a_spa_that_follows_it_could_not_be_judged(
    in_firm: Firm, kind: str
) -> None:
    SpaFactory(site=in_firm.site, name="Bromine tub", sanitiser="bromine")

    words = refusal(getattr(in_firm, kind), NO_BROMINE, in_firm.office)

    assert words.endswith("Here that is Bromine tub: give them a set of their own first.")


@pytest.mark.parametrize(
    "excused",
    [
        {"guideline_id": BOTH},
        {"archived_at": "2026-01-01T00:00Z"},
    ],
    ids=["own set", "archived"],
)
def test_a_spa_that_does_not_follow_does_not_count(in_firm: Firm, excused: dict[str, str]) -> None:
    SpaFactory(site=in_firm.site, sanitiser="bromine", **excused)

    choose_guideline(place=in_firm.client, guideline_id=NO_BROMINE, by=in_firm.office)


def test_a_site_with_its_own_set_shields_its_spas_from_the_clients_choice(in_firm: Firm) -> None:
    SpaFactory(site=SiteFactory(client=in_firm.client, guideline_id=BOTH), sanitiser="bromine")

    choose_guideline(place=in_firm.client, guideline_id=NO_BROMINE, by=in_firm.office)


def test_going_back_to_what_is_above_is_checked_as_well(in_firm: Firm) -> None:
    Organisation.objects.update(guideline_id=NO_BROMINE)
    Spa.objects.filter(pk=in_firm.spa.pk).update(sanitiser="bromine", guideline_id=BOTH)

    assert "no figure for bromine" in refusal(fresh(in_firm.spa), "", in_firm.office)


def test_two_sets_may_be_used_together(in_firm: Firm) -> None:
    Spa.objects.filter(pk=in_firm.spa.pk).update(sanitiser="bromine")
    pair = f"{NO_BROMINE}+{BOTH}"

    choose_guideline(place=fresh(in_firm.spa), guideline_id=pair, by=in_firm.office)

    assert in_force(fresh(in_firm.spa)).guideline == get(pair)


@pytest.mark.parametrize("unknown", ["nowhere_2026", "mahc+mahc", "mahc+dc_25c+nsw", "../mahc"])
def test_a_set_that_does_not_exist_is_refused(in_firm: Firm, unknown: str) -> None:
    refusal(fresh(in_firm.spa), unknown, in_firm.office)


def test_a_set_for_plants_with_flocculation_is_not_for_a_portable_tub(in_firm: Firm) -> None:
    assert "not for portable tubs" in refusal(fresh(in_firm.spa), "din_19643", in_firm.office)


def test_people_who_only_read_do_not_choose(in_firm: Firm) -> None:
    with pytest.raises(NotAllowed):
        choose_guideline(place=fresh(in_firm.spa), guideline_id="mahc", by=in_firm.technician)


@pytest.mark.parametrize("sanitiser", [Sanitiser.CHLORINE, Sanitiser.BROMINE])
def test_every_shipped_set_either_limits_the_sanitiser_or_is_refused(sanitiser: str) -> None:
    for item in available(portable=True):
        assert (why_unsuited(item, sanitiser) == "") == item.limits_sanitiser(sanitiser)


# --- on the pages -----------------------------------------------------------------------------


@pytest.fixture
def office(firm: Firm, sign_in: Any) -> Any:
    return sign_in(firm.office)


def test_the_page_of_a_spa_says_which_set_is_in_force_from_where_and_how_far_it_is_checked(
    firm: Firm, office: Any
) -> None:
    with scope(organisation=firm.organisation):
        Client.objects.filter(pk=firm.client.pk).update(guideline_id="uk_hsg282")
    page = office.get(reverse("sites:spa", args=[firm.spa.pk])).content.decode()
    chosen = get("uk_hsg282")

    assert f"<strong>{chosen.title}</strong>, from the client, {firm.client}." in page
    assert "Unverified: check against the document" in page
    assert chosen.applies_to.let in page


def test_the_picker_offers_every_set_for_tubs_with_its_mark_and_its_gaps(firm: Firm, office: Any) -> None:
    page = office.get(reverse("sites:spa_guideline", args=[firm.spa.pk])).content.decode()

    for item in available(portable=True):
        assert f'value="{item.id}"' in page
        assert item.offered_as in page
    assert 'value="din_19643"' not in page
    assert "No figure for bromine." in page
    assert "Follow what is chosen above" in page


def test_a_choice_on_the_page_is_saved_and_taken_back(firm: Firm, office: Any) -> None:
    url = reverse("sites:spa_guideline", args=[firm.spa.pk])
    office.post(url, {"guideline_id": "mahc", "paired_with": ""})
    with scope(organisation=firm.organisation):
        assert fresh(firm.spa).guideline_id == "mahc"
    assert 'value="mahc" id="id_guideline_id_' in office.get(url).content.decode()

    office.post(url, {"guideline_id": "", "paired_with": ""})
    with scope(organisation=firm.organisation):
        assert fresh(firm.spa).guideline_id == ""


def test_two_sets_are_chosen_together_and_shown_so(firm: Firm, office: Any) -> None:
    url = reverse("sites:spa_guideline", args=[firm.spa.pk])
    office.post(url, {"guideline_id": NO_BROMINE, "paired_with": BOTH})

    with scope(organisation=firm.organisation):
        assert fresh(firm.spa).guideline_id == f"{NO_BROMINE}+{BOTH}"
    form = office.get(url).context["form"]
    assert (form["guideline_id"].value(), form["paired_with"].value()) == (NO_BROMINE, BOTH)


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"guideline_id": "", "paired_with": BOTH}, "paired_with", "Choose the first set as well"),
        ({"guideline_id": BOTH, "paired_with": BOTH}, "guideline_id", "At most two different guideline sets"),
        ({"guideline_id": "castle"}, "guideline_id", "not one of the available choices"),
        ({"guideline_id": NO_BROMINE}, "guideline_id", "gives no figure for bromine"),
    ],
    ids=["second alone", "twice the same", "unknown", "no figure"],
)
def test_a_choice_that_cannot_be_is_told_and_nothing_is_lost(
    firm: Firm, office: Any, given: dict[str, str], field: str, words: str
) -> None:
    with scope(organisation=firm.organisation):
        Spa.objects.update(sanitiser="bromine")
    answer = office.post(reverse("sites:spa_guideline", args=[firm.spa.pk]), given)

    assert answer.status_code == 200
    assert words in answer.context["form"].errors[field][0]
    assert answer.context["form"]["guideline_id"].value() == given["guideline_id"]


@pytest.mark.parametrize("kind", ["client", "site"])
def test_a_client_and_a_site_have_the_same_page(firm: Firm, office: Any, kind: str) -> None:
    row = getattr(firm, kind)
    office.post(reverse(f"sites:{kind}_guideline", args=[row.pk]), {"guideline_id": "mahc"})

    page = office.get(reverse(f"sites:{kind}", args=[row.pk])).content.decode()
    assert f"chosen for this {kind}" in page


def test_a_new_spa_that_the_set_in_force_cannot_judge_leads_to_the_picker(firm: Firm, office: Any) -> None:
    from tests.sites.posting import SPA

    with scope(organisation=firm.organisation):
        Site.objects.update(guideline_id=NO_BROMINE)
    answer = office.post(
        reverse("sites:spa_new", args=[firm.site.pk]), SPA | {"sanitiser": "bromine"}, follow=True
    )

    with scope(organisation=firm.organisation):
        spa = Spa.objects.get(name="Terrace tub")
    assert answer.redirect_chain[0][0] == reverse("sites:spa_guideline", args=[spa.pk])
    assert "gives no figure for bromine" in answer.content.decode()
    page = office.get(reverse("sites:spa", args=[spa.pk])).content.decode()
    assert "Until then this spa cannot be called fit for use." in page


def test_a_set_that_is_not_known_any_more_is_said_and_breaks_nothing(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        Spa.objects.update(guideline_id="gone_1999")
    for name in ("spa", "spa_guideline", "spa_edit"):
        assert office.get(reverse(f"sites:{name}", args=[firm.spa.pk])).status_code == 200

    assert "is not known to Runnel" in office.get(reverse("sites:spa", args=[firm.spa.pk])).content.decode()
    assert "gone_1999 (not known)" in office.get(reverse("sites:spas")).content.decode()
