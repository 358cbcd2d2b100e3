"""Agreements come in from a list: how often, on which days, when, which season, with whom; and out again."""

from datetime import date, time
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django_scopes import scope
from hypothesis import given
from hypothesis import strategies as st

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from accounts.roles import Role
from service.importing.models import Effect, ListRow, ListState
from service.importing.take_back import take_back, undoing_of
from service.importing.write import confirm_list
from service.rounds.agree import add_agreement, change_agreement
from service.rounds.models import Agreement, Frequency, PlannedVisit
from service.rounds.models.agreements import WEEKDAYS
from service.sites.archive import archive
from service.sites.models import Spa
from tests.factories import AgreementFactory, SkillFactory, SpaFactory
from tests.importing.listing import confirmed, effects, fresh, problems, uploaded, workbook, written
from tests.importing.test_round_trip import A_FEW, exported, unchanged
from tests.personas import Firm, make_firm
from tests.rounds.planned import planned_round

FIRST = date(2026, 4, 1)
AUDITOR = f"{Role.AUDITOR.label} of Alderbrook Spa Care"
OFTEN = "spa_reference,frequency,times_a_week,every_weeks,starts_on\n"


@pytest.fixture
def spa(in_firm: Firm) -> Spa:
    Spa.objects.filter(pk=in_firm.spa.pk).update(reference="T1", name="Barn tub")
    return Spa.objects.get(pk=in_firm.spa.pk)


def test_every_frequency_arrives_as_its_page_would_have_saved_it(in_firm: Firm, spa: Spa) -> None:
    rows = "T1,times_a_week,3,,2026-04-01\nT1,Every so many weeks,,4,01.04.2026\nT1,changeover,,,2026-04-01\n"

    written(in_firm, "agreement", OFTEN + rows)

    made = Agreement.objects.filter(spa=spa).order_by("frequency")
    assert [agreement.how_often for agreement in made] == [
        "At every changeover",
        "Every 4 weeks",
        "3 times a week",
    ]
    for agreement in made:
        agreement.full_clean()
        assert (agreement.starts_on, agreement.weekdays, agreement.minutes_on_site) == (
            FIRST,
            (0, 1, 2, 3, 4),
            30,
        )


def test_days_windows_seasons_and_people_arrive(in_firm: Firm, spa: Spa) -> None:
    wood, steel = (
        SkillFactory(organisation=in_firm.organisation, name=name) for name in ("Wood; old", "Steel")
    )
    sent = in_firm.technician
    text = (
        "spa_reference;frequency;times_a_week;weekdays;window_from;window_to;season_from;season_to;starts_on;"
        "ends_on;while_guests_stay;avoid_public_holidays;min_days_between;max_days_between;preferred;not_with;"
        "skills;optional;drop_price;instructions;minutes_on_site\n"
        '"T1";times_a_week;2;"Monday; thu";08:00;12.30;04-15;2026-10-31;2026-04-01;31.12.2027;yes;no;2;5;'
        f'{sent.email.upper()};;"steel; Wood; old";true;12,50;Key safe;45\n'
    )

    written(in_firm, "agreement", text)

    made = Agreement.objects.get(spa=spa)
    assert made.weekdays == (0, 3)
    assert (made.window_from, made.window_to) == (time(8), time(12, 30))
    assert (made.season_from, made.season_to, made.ends_on) == ("04-15", "10-31", date(2027, 12, 31))
    assert (made.while_guests_stay, made.avoid_public_holidays, made.optional) == (True, False, True)
    assert (made.min_days_between, made.max_days_between, made.minutes_on_site) == (2, 5, 45)
    assert (made.preferred, made.drop_price, made.instructions) == (sent, Decimal("12.50"), "Key safe")
    assert set(made.skills.all()) == {wood, steel}


def test_a_row_is_known_by_its_spa_how_often_and_its_first_day(in_firm: Firm, spa: Spa) -> None:
    AgreementFactory(spa=spa, times_a_week=1, starts_on=FIRST)

    listing = uploaded(
        in_firm, "agreement", OFTEN + "T1,times_a_week,2,,2026-04-01\nT1,changeover,,,2026-04-01\n"
    )

    assert effects(listing) == ["changed", "new"]
    row = ListRow.objects.get(effect="changed")
    assert row.changes == [{"column": "times_a_week", "old": "1", "new": "2"}]
    assert row.remarks == ["Agreement found by its spa, frequency and first day."]
    assert row.name == "Barn tub, twice a week"
    assert effects(uploaded(in_firm, "agreement", OFTEN + "T1,times_a_week,1,,2026-04-01\n")) == ["same"]


def test_a_key_lets_how_often_and_the_first_day_change_and_puts_away_what_belonged_to_the_former(
    in_firm: Firm, spa: Spa
) -> None:
    agreement = AgreementFactory(spa=spa, times_a_week=2, starts_on=FIRST)

    written(
        in_firm,
        "agreement",
        f"runnel_key,frequency,every_weeks,starts_on\n{agreement.pk},every_weeks,2,2026-05-01\n",
    )

    agreement.refresh_from_db()
    assert (agreement.how_often, agreement.times_a_week) == ("Every 2 weeks", None)
    assert agreement.starts_on == date(2026, 5, 1)


def test_a_count_that_belongs_to_another_frequency_is_left_aside_and_said(in_firm: Firm, spa: Spa) -> None:
    listing = uploaded(in_firm, "agreement", OFTEN + "T1,changeover,2,,2026-04-01\n")

    assert ListRow.objects.get(listing=listing).remarks == [
        "times_a_week is left aside: changeover has none."
    ]


@pytest.mark.parametrize(
    ("column", "cell", "said"),
    [
        ("frequency", "monthly", "“monthly” is none of: times_a_week, every_weeks, changeover."),
        ("times_a_week", "8", "Visits a week must be from 1 to 7."),
        ("times_a_week", "", "Say how many visits a week: from 1 to 7."),
        (
            "weekdays",
            "Monday; Caturday",
            "“Caturday” is none of: Monday, Tuesday, Wednesday, Thursday, Friday, ",
        ),
        ("weekdays", "Monday", "2 visits a week do not fit on 1 allowed days."),
        ("minutes_on_site", "4", "Minutes on site must be from 5 to 480 minutes."),
        ("window_from", "early", "Not before must be a time, such as 14:30."),
        ("window_to", "07:00", "The latest time must be after the earliest."),
        ("starts_on", "31/31/2026", "First day must be a day, such as 2026-05-31."),
        ("starts_on", "", "A new row needs its starts_on."),
        ("ends_on", "2025-01-01", "The last day cannot be before the first."),
        ("season_from", "15 April", "Write month and day as 04-15 for 15 April."),
        ("season_to", "", "A season needs both its first and its last day."),
        ("avoid_public_holidays", "perhaps", "“perhaps” is none of: yes, no."),
        ("min_days_between", "7", "2 visits at least 7 days apart do not fit on the allowed days."),
        ("max_days_between", "401", "At most must be from 1 to 400 days."),
        ("drop_price", "5", "Only a visit that may be dropped has a price for dropping."),
        (
            "preferred",
            "nobody@else.example",
            "Nobody here has the e-mail address or the name “nobody@else.example”.",
        ),
        (
            "not_with",
            AUDITOR,
            f"{AUDITOR} does not carry out visits.",
        ),
        ("skills", "Juggling", "No skill is called “Juggling”. Add it under Skills of the roster first."),
        ("spa_reference", "T9", "No spa has the reference “T9”."),
        ("runnel_key", "7", "No agreement has the key “7”. Leave it empty for a new one."),
    ],
)
def test_every_error_stands_at_its_cell(in_firm: Firm, spa: Spa, column: str, cell: str, said: str) -> None:
    good = {
        "spa_reference": "T1",
        "frequency": "times_a_week",
        "times_a_week": "2",
        "starts_on": "2026-04-01",
        "window_from": "08:00",
        "season_from": "04-15",
        "season_to": "10-31",
    }
    row = good | {column: cell}

    listing = uploaded(in_firm, "agreement", ",".join(row) + "\n" + ",".join(row.values()) + "\n")

    found = problems(listing)
    where = "times_a_week" if cell == "Monday" else column
    assert any(at == where and message.startswith(said) for _, at, message in found), found
    assert effects(listing) == ["wrong"]


def test_a_row_that_is_right_has_no_errors_so_that_the_cells_above_are_what_is_wrong(
    in_firm: Firm, spa: Spa
) -> None:
    listing = uploaded(in_firm, "agreement", OFTEN + "T1,times_a_week,2,,2026-04-01\n")

    assert problems(listing) == []


def test_the_same_twice_is_an_error_however_it_is_written(in_firm: Firm, spa: Spa) -> None:
    text = OFTEN + "T1,changeover,,,2026-04-01\nT1,changeover,,,2026-04-01\n"
    assert [row for row, _, _ in problems(uploaded(in_firm, "agreement", text))] == [2, 3]

    listing = uploaded(
        in_firm, "agreement", OFTEN + "T1,changeover,,,2026-04-01\nT1,Changeover,,,01.04.2026\n"
    )
    other = uploaded(
        in_firm, "agreement", OFTEN + "T1,changeover,,,2026-04-01\nT1,At every changeover,,,01.04.2026\n"
    )

    assert problems(listing) != []
    assert problems(other) == [
        (3, "starts_on", "Row 2 is about the same agreement: spa, frequency, first day.")
    ]


def test_two_that_begin_alike_ask_for_the_key(in_firm: Firm, spa: Spa) -> None:
    AgreementFactory.create_batch(2, spa=spa, starts_on=FIRST)

    listing = uploaded(in_firm, "agreement", OFTEN + "T1,times_a_week,2,,2026-04-01\n")

    assert problems(listing) == [(2, "starts_on", "2 agreements of this spa begin so: give the key.")]


def test_somebody_preferred_cannot_be_kept_away_too(in_firm: Firm, spa: Spa) -> None:
    who = in_firm.technician
    listing = uploaded(
        in_firm,
        "agreement",
        f"spa_reference,frequency,starts_on,preferred,not_with\nT1,changeover,2026-04-01,{who.email},{who.name}\n",
    )

    assert problems(listing) == [(2, "not_with", f"{who.name} is preferred and cannot be kept away too.")]


def test_an_agreement_of_an_archived_spa_or_of_another_is_refused(in_firm: Firm, spa: Spa) -> None:
    agreement = AgreementFactory(spa=in_firm.hidden_spa)
    moved = uploaded(
        in_firm, "agreement", f"runnel_key,spa_reference,minutes_on_site\n{agreement.pk},T1,45\n"
    )
    assert problems(moved) == [(2, "spa", "It belongs to another spa. A list does not move it.")]
    archive(place=spa, by=in_firm.office)

    listing = uploaded(in_firm, "agreement", OFTEN + "T1,changeover,,,2026-04-01\n")

    assert problems(listing) == [(2, "spa", "The spa Barn tub is archived. Bring it back into use first.")]


def test_a_workbook_may_agree_on_a_spa_that_it_adds(in_firm: Firm, spa: Spa) -> None:
    site = spa.site
    data = workbook(
        {
            "Agreements": [
                ["spa_reference", "frequency", "starts_on", "window_from", "season_from", "season_to"],
                ["T7", "changeover", FIRST, time(9, 15), date(2026, 4, 15), date(2026, 10, 1)],
            ],
            "Spas": [["site", "reference", "name", "volume_l"], [site.name, "T7", "Tub", 900]],
        }
    )

    written(in_firm, "all", data)

    made = Agreement.objects.get(spa__reference="T7")
    assert (made.window_from, made.season_from, made.season_to) == (time(9, 15), "04-15", "10-01")


def test_what_was_agreed_or_changed_meanwhile_stops_it(in_firm: Firm, spa: Spa) -> None:
    agreement = AgreementFactory(spa=spa, starts_on=FIRST)
    changing = uploaded(in_firm, "agreement", OFTEN + "T1,times_a_week,2,,2026-04-01\n")
    adding = uploaded(in_firm, "agreement", OFTEN + "T1,changeover,,,2026-04-01\n")
    change_agreement(agreement=agreement, by=in_firm.office, times_a_week=3)
    add_agreement(spa=spa, by=in_firm.office, frequency=Frequency.CHANGEOVER, starts_on=FIRST)

    assert "times_a_week of it has been changed meanwhile." in confirmed(in_firm, changing).error
    assert "the same has been agreed meanwhile." in confirmed(in_firm, adding).error
    assert Agreement.objects.count() == 2
    assert fresh(adding).state == ListState.READY


def test_somebody_who_has_left_meanwhile_stops_it(in_firm: Firm, spa: Spa) -> None:
    who = in_firm.technician
    listing = uploaded(
        in_firm,
        "agreement",
        f"spa_reference,frequency,starts_on,preferred\nT1,changeover,2026-04-01,{who.email}\n",
    )
    who.is_active = False
    who.save()

    assert "does not carry out visits any more" in confirmed(in_firm, listing).error


@pytest.fixture
def listed(in_firm: Firm, spa: Spa) -> Any:
    """One agreement changed, skill and all, and one added."""
    wood = SkillFactory(organisation=in_firm.organisation, name="Wood")
    steel = SkillFactory(organisation=in_firm.organisation, name="Steel")
    AgreementFactory(spa=spa, starts_on=FIRST, needs=[wood])
    text = (
        "spa_reference,frequency,times_a_week,starts_on,skills,weekdays\n"
        "T1,times_a_week,2,2026-04-01,Steel,Monday; Friday\nT1,changeover,,2026-04-01,Wood,\n"
    )
    listing = written(in_firm, "agreement", text)
    changed = Agreement.objects.get(frequency=Frequency.TIMES_A_WEEK)
    assert (changed.weekdays, list(changed.skills.all())) == ((0, 4), [steel])
    return listing


def test_an_import_is_taken_back(in_firm: Firm, listed: Any) -> None:
    undoing = undoing_of(listed)
    assert (undoing.removes, undoing.sets_back, undoing.reasons) == ({"Agreements": 1}, {"Agreements": 1}, [])

    take_back(listing=listed, by=in_firm.office)

    agreement = Agreement.objects.get()
    assert (agreement.times_a_week, agreement.weekdays) == (1, (0, 1, 2, 3, 4))
    assert [skill.name for skill in agreement.skills.all()] == ["Wood"]
    assert AuditEvent.objects.filter(action="list.taken_back").count() == 1


def test_a_planned_visit_keeps_an_agreement_and_what_was_changed_since_is_said(
    in_firm: Firm, listed: Any
) -> None:
    added = Agreement.objects.get(frequency=Frequency.CHANGEOVER)
    changed = Agreement.objects.get(frequency=Frequency.TIMES_A_WEEK)
    plan = planned_round(in_firm.technician, in_firm.spa).plan
    PlannedVisit.objects.create(
        organisation=in_firm.organisation,
        plan=plan,
        key="x",
        spa=added.spa,
        agreement=added,
        reason="Nobody is free.",
    )
    change_agreement(agreement=changed, by=in_firm.office, skills=[])

    assert undoing_of(listed).reasons == [
        "Agreement Barn tub, twice a week (row 2) was changed since: skills.",
        "Agreement Barn tub, at every changeover (row 3) has 1 planned visit.",
    ]
    with pytest.raises(ValidationError):
        take_back(listing=listed, by=in_firm.office)


def test_a_spa_that_came_with_a_list_is_kept_by_a_later_agreement(in_firm: Firm, spa: Spa) -> None:
    spas = written(in_firm, "spa", f"site,reference,name,volume_l\n{spa.site.name},T7,Tub,900\n")
    later = written(in_firm, "agreement", OFTEN + "T7,changeover,,,2026-04-01\n")

    assert undoing_of(spas).reasons == ["Spa Tub (row 2) has 1 agreement."]

    take_back(listing=later, by=in_firm.office)
    take_back(listing=spas, by=in_firm.office)
    assert not Spa.objects.filter(reference="T7").exists()


def test_only_those_who_plan_bring_agreements_in(in_firm: Firm, spa: Spa) -> None:
    listing = uploaded(in_firm, "agreement", OFTEN + "T1,changeover,,,2026-04-01\n")

    with pytest.raises(NotAllowed):
        confirm_list(listing=listing, only_good=False, by=in_firm.technician)


def test_another_firms_people_skills_and_agreements_are_unknown_here(in_firm: Firm, spa: Spa) -> None:
    other = make_firm("Elsewhere Tubs")
    with scope(organisation=other.organisation):
        SkillFactory(organisation=other.organisation, name="Wood")
        theirs = AgreementFactory(spa=other.spa)

    listing = uploaded(
        in_firm,
        "agreement",
        "spa_reference,frequency,starts_on,preferred,skills,runnel_key\n"
        f"T1,changeover,2026-04-01,{other.technician.email},Wood,\nT1,changeover,2026-04-02,,,{theirs.pk}\n",
    )

    assert [(row, column) for row, column, _ in problems(listing)] == [
        (2, "preferred"),
        (2, "skills"),
        (3, "runnel_key"),
    ]


CLOCK = st.times(min_value=time(6), max_value=time(11, 59)).map(
    lambda found: found.replace(second=0, microsecond=0)
)
SEASONS = st.sampled_from([("", ""), ("04-15", "10-31"), ("10-01", "03-31"), ("02-29", "02-29")])
COUNT = st.sampled_from(
    [
        {"frequency": "times_a_week", "times_a_week": 1},
        {"frequency": "times_a_week", "times_a_week": 7, "weekdays_allowed": 127},
        {"frequency": "every_weeks", "times_a_week": None, "every_weeks": 52},
        {"frequency": "changeover", "times_a_week": None},
    ]
)
AGREEMENT = st.fixed_dictionaries(
    {
        "often": COUNT,
        "weekdays_allowed": st.integers(1, 127),
        "window_from": st.none() | CLOCK,
        "window_to": st.none() | st.just(time(17, 30, 15)),
        "season": SEASONS,
        "minutes_on_site": st.integers(5, 480),
        "min_days_between": st.none() | st.just(1),
        "max_days_between": st.none() | st.integers(1, 400),
        "ends_on": st.none() | st.dates(FIRST, date(2100, 12, 31)),
        "optional": st.booleans(),
        "while_guests_stay": st.booleans(),
        "avoid_public_holidays": st.booleans(),
        "instructions": st.sampled_from(["", "=1+1", "Gate\nleft; code: none", "'+44"]),
        "needs": st.lists(st.integers(0, 3), unique=True, max_size=3),
        "alone": st.sampled_from(["", "preferred", "not_with"]),
    }
)


@A_FEW
@given(rows=st.lists(AGREEMENT, min_size=1, max_size=4))
def test_an_export_brought_in_again_changes_nothing(in_firm: Firm, rows: list[dict[str, Any]]) -> None:
    Agreement.objects.all().delete()
    named = ("Wood", "wood", "Wood; old", "=Steel")
    skills = [
        SkillFactory._meta.model.objects.get_or_create(organisation=in_firm.organisation, name=name)[0]
        for name in named
    ]
    twin = Spa.objects.filter(site=in_firm.site, name=in_firm.spa.name).exclude(pk=in_firm.spa.pk).first()
    spas = [in_firm.spa, twin or SpaFactory(site=in_firm.site, name=in_firm.spa.name)]
    for number, row in enumerate([*rows, *rows]):
        fields = dict(row)
        often, (begins, ends), alone = fields.pop("often"), fields.pop("season"), fields.pop("alone")
        needs = [skills[at] for at in fields.pop("needs")]
        fields |= {"season_from": begins, "season_to": ends} | often
        fields["preferred"] = in_firm.technician if alone == "preferred" else None
        barred = [in_firm.technician] if alone == "not_with" else []
        AgreementFactory(spa=spas[number % 2], starts_on=FIRST, needs=needs, barred=barred, **fields)

    for form in ("csv", "xlsx"):
        unchanged(in_firm, "agreement", exported(in_firm, "agreement", form), f"x.{form}")
    unchanged(in_firm, "all", exported(in_firm, "all", "xlsx"), "x.xlsx")


def test_somebody_who_has_left_stays_where_they_stand(in_firm: Firm, spa: Spa) -> None:
    AgreementFactory(spa=spa, preferred=in_firm.technician)
    in_firm.technician.is_active = False
    in_firm.technician.save()

    unchanged(in_firm, "agreement", exported(in_firm, "agreement", "csv"), "x.csv")


def test_every_day_of_the_week_is_a_word_of_its_own(in_firm: Firm, spa: Spa) -> None:
    rows = "".join(
        f"T1,times_a_week,1,2026-04-{day + 1:02},{word[:3]}\n" for day, word in enumerate(WEEKDAYS)
    )
    listing = written(
        in_firm, "agreement", "spa_reference,frequency,times_a_week,starts_on,weekdays\n" + rows
    )

    assert listing.count(Effect.NEW) == 7
    assert [one.weekdays for one in Agreement.objects.order_by("starts_on")] == [(day,) for day in range(7)]
