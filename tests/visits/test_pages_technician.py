"""The technician's pages: the day, the stop, the visit from its start to its signature."""

from datetime import timedelta
from io import BytesIO
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from accounts.roles import Role
from service.visits.closures import open_closure
from service.visits.drafts import draft_of, save_draft
from service.visits.inspection import ITEMS
from service.visits.models import Draft, Photo, Reading, StepState, Visit, VisitState
from service.visits.open import hand_over
from service.visits.urls_technician import technician_urls
from tests.factories import PIN, BatchFactory
from tests.personas import Firm
from tests.visits.working import (
    GOOD,
    fresh,
    inspect,
    planned,
    product,
    read,
    ready,
    sign,
    started,
    with_plan,
)


@pytest.fixture
def browser(in_firm: Firm, sign_in: Any) -> Browser:
    browser: Browser = sign_in(in_firm.technician)
    return browser


def url(name: str, *keys: object) -> str:
    return reverse(f"visits:{name}", args=keys)


def look(visit: Visit, **no: str) -> dict[str, str]:
    fields = {"revision": str(fresh(visit).revision)}
    for item in ITEMS:
        fields[f"{item.key}-answer"] = "no" if item.key in no else "yes"
        fields[f"{item.key}-note"] = no.get(item.key, "")
    return fields


def sheet(visit: Visit, values: dict[str, str], moment: str = "before", **more: str) -> dict[str, str]:
    typed = {f"{moment}-{name}-value": value for name, value in values.items()}
    return {"revision": str(fresh(visit).revision), **typed, **more}


def words_of(answer: Any) -> str:
    text: str = answer.content.decode()
    return text


# --- who may ask for what -----------------------------------------------------------------------

NOT_A_VISIT = {"today", "stop", "call_out"}
GETS = {"today", "stop", "call_out", "visit", "photo_file"}


def address(name: str, firm: Firm, visit: Visit) -> str:
    keys: dict[str, tuple[object, ...]] = {
        "today": (),
        "stop": (firm.site.pk, visit.planned_on.isoformat()),
        "call_out": (firm.spa.pk,),
        "visit_readings": (visit.pk, "before"),
        "visit_decide": (visit.pk, "before"),
        "visit_withdraw": (visit.pk, "before"),
        "visit_governs": (visit.pk, uuid4()),
        "visit_step": (visit.pk, uuid4()),
        "visit_task": (visit.pk, "filter_rinse"),
        "photo_file": (visit.pk, uuid4()),
        "visit_photo_remove": (visit.pk, uuid4()),
    }
    return url(name, *keys.get(name, (visit.pk,)))


EVERY = [str(pattern.name) for pattern in technician_urls]


@pytest.mark.parametrize("name", EVERY)
def test_another_firms_visit_does_not_exist(in_firm: Firm, stranger: Firm, sign_in: Any, name: str) -> None:
    if name == "today":
        pytest.skip("Today has no key in its address.")
    asked = address(name, in_firm, started(in_firm))
    browser = sign_in(stranger.technician)

    answer = browser.get(asked) if name in GETS else browser.post(asked)

    assert answer.status_code == 404


@pytest.mark.parametrize("role", [Role.AUDITOR, Role.RENTAL_MANAGER])
@pytest.mark.parametrize("name", EVERY)
def test_people_who_carry_out_no_visits_find_no_such_page(
    in_firm: Firm, sign_in: Any, name: str, role: Role
) -> None:
    asked = address(name, in_firm, started(in_firm))
    browser = sign_in(in_firm.people[role])

    answer = browser.get(asked) if name in GETS else browser.post(asked)

    assert answer.status_code == 404


@pytest.mark.parametrize("name", EVERY)
def test_another_method_is_refused(in_firm: Firm, browser: Browser, name: str) -> None:
    asked = address(name, in_firm, started(in_firm))

    assert browser.put(asked).status_code == 405
    if name not in GETS:
        assert browser.get(asked).status_code == 405


# --- today and the stop -----------------------------------------------------------------------------


def test_today_opens_the_next_stop_and_keeps_its_code_out_of_every_cache(
    in_firm: Firm, browser: Browser
) -> None:
    planned(in_firm)

    answer = browser.get(url("today"))

    assert f"Next: {in_firm.site.name}" in words_of(answer)
    assert "4711" in words_of(answer)
    assert "no-store" in answer["Cache-Control"]


def test_today_says_so_when_nothing_is_planned(browser: Browser) -> None:
    assert "No stops today" in words_of(browser.get(url("today")))


def test_a_stop_shows_the_code_to_todays_assignee_alone(
    in_firm: Firm, browser: Browser, sign_in: Any
) -> None:
    visit = planned(in_firm)
    asked = url("stop", in_firm.site.pk, visit.planned_on.isoformat())

    assert "4711" in words_of(browser.get(asked))
    assert "4711" not in words_of(sign_in(in_firm.office).get(asked))


def test_a_stop_of_tomorrow_shows_no_code(in_firm: Firm, browser: Browser) -> None:
    visit = planned(in_firm, planned_on=timezone.localdate() + timedelta(days=1))

    page = words_of(browser.get(url("stop", in_firm.site.pk, visit.planned_on.isoformat())))

    assert in_firm.spa.name in page
    assert "4711" not in page


def test_whoever_handed_a_visit_over_sees_its_code_no_more(in_firm: Firm, browser: Browser) -> None:
    visit = planned(in_firm)
    hand_over(visit=visit, to=in_firm.office, reason="Van broke down", by=in_firm.technician)

    assert "4711" not in words_of(browser.get(url("stop", in_firm.site.pk, visit.planned_on.isoformat())))


def test_a_stop_names_what_is_due_with_its_clause(in_firm: Firm, browser: Browser) -> None:
    visit = planned(in_firm)

    page = words_of(browser.get(url("stop", in_firm.site.pk, visit.planned_on.isoformat())))

    assert "Due today" in page
    assert "Test pH, free chlorine: never tested" in page


@pytest.mark.parametrize("day", ["2026-13-40", "tomorrow", "2031-01-01"])
def test_a_stop_on_no_such_day_does_not_exist(in_firm: Firm, browser: Browser, day: str) -> None:
    planned(in_firm)

    assert browser.get(url("stop", in_firm.site.pk, day)).status_code == 404


def test_a_call_out_is_reached_from_the_spa_and_from_a_stop_that_is_done(
    in_firm: Firm, browser: Browser, sign_in: Any
) -> None:
    asked = url("call_out", in_firm.spa.pk)
    spa_page = reverse("sites:spa", args=[in_firm.spa.pk])
    visit = ready(in_firm)
    sign(in_firm, visit)

    assert asked in words_of(browser.get(spa_page))
    assert asked in words_of(browser.get(url("stop", in_firm.site.pk, visit.planned_on.isoformat())))
    assert asked not in words_of(sign_in(in_firm.auditor).get(spa_page))


def test_a_technician_puts_a_call_out_on_their_own_day(in_firm: Firm, browser: Browser) -> None:
    answer = browser.post(
        url("call_out", in_firm.spa.pk), {"kind": "call_out", "instructions": "Water is green"}
    )

    visit = Visit.objects.get(kind="call_out")
    assert answer.status_code == 302
    assert (visit.technician, visit.planned_on) == (in_firm.technician, timezone.localdate())


# --- the visit's page --------------------------------------------------------------------------------


def test_a_visit_is_started_by_a_press(in_firm: Firm, browser: Browser) -> None:
    visit = planned(in_firm)
    assert "Start the visit" in words_of(browser.get(url("visit", visit.pk)))

    browser.post(url("visit_start", visit.pk))

    assert fresh(visit).state == VisitState.ON_SITE
    page = words_of(browser.get(url("visit", visit.pk)))
    assert all(f'id="{part}"' in page for part in ("look", "test", "decide", "do", "sign"))
    assert "The product label and local code come first" in page


def test_a_no_without_words_is_told_at_its_line_and_nothing_is_lost(in_firm: Firm, browser: Browser) -> None:
    visit = started(in_firm)

    answer = browser.post(
        url("visit_inspection", visit.pk),
        {**look(visit, cover=""), "filter-note": "Torn at the lower cap"},
    )

    page = words_of(answer)
    assert "Say what is wrong. What is wrong with the cover?" in page
    assert "Torn at the lower cap" in page
    assert fresh(visit).inspection.count() == 0


def test_the_inspection_is_saved(in_firm: Firm, browser: Browser) -> None:
    visit = started(in_firm)

    answer = browser.post(url("visit_inspection", visit.pk), look(visit, cover="Cracked hinge"))

    assert answer.status_code == 302
    assert fresh(visit).inspection.get(item="cover").note == "Cracked hinge"
    assert in_firm.spa.defects.get().description == "Cracked hinge"


def picture(name: str = "a.jpg") -> SimpleUploadedFile:
    file = BytesIO()
    Image.new("RGB", (20, 10), "teal").save(file, "JPEG")
    return SimpleUploadedFile(name, file.getvalue(), "image/jpeg")


def test_a_photo_taken_at_a_no_stands_with_its_defect(in_firm: Firm, browser: Browser, sign_in: Any) -> None:
    visit = started(in_firm)

    browser.post(
        url("visit_inspection", visit.pk), {**look(visit, cover="Cracked hinge"), "cover-photo": picture()}
    )

    photo = Photo.objects.get()
    assert (photo.about, photo.visit) == ("cover", visit)
    defect = in_firm.spa.defects.get()
    shown = words_of(sign_in(in_firm.office).get(url("defect", defect.pk)))
    assert url("photo_file", visit.pk, photo.pk) in shown
    assert "A photo of this is kept" in words_of(browser.get(url("visit", visit.pk)))


def test_a_photo_that_is_none_is_told_at_its_line_and_the_words_are_saved(
    in_firm: Firm, browser: Browser
) -> None:
    visit = started(in_firm)
    broken = SimpleUploadedFile("a.jpg", b"MZ not a picture", "image/jpeg")

    page = words_of(
        browser.post(
            url("visit_inspection", visit.pk), {**look(visit, cover="Cracked hinge"), "cover-photo": broken}
        )
    )

    assert "cannot be read as a photo" in page
    assert 'id="id_cover-photo_error"' in page
    assert 'value="Cracked hinge"' in page
    assert fresh(visit).inspection.get(item="cover").note == "Cracked hinge"
    assert not Photo.objects.exists()


def test_a_photo_is_kept_although_a_word_is_missing_elsewhere(in_firm: Firm, browser: Browser) -> None:
    visit = started(in_firm)
    fields = look(visit, cover="Cracked hinge", filter="")

    page = words_of(browser.post(url("visit_inspection", visit.pk), {**fields, "cover-photo": picture()}))

    assert "Say what is wrong. What is wrong with the filter?" in page
    assert "A photo of this is kept" in page
    assert Photo.objects.get().about == "cover"
    assert fresh(visit).inspection.count() == 0


def test_readings_are_saved_as_typed_with_the_method_of_the_whole_sheet(
    in_firm: Firm, browser: Browser
) -> None:
    visit = started(in_firm)

    browser.post(
        url("visit_readings", visit.pk, "before"),
        sheet(visit, {"ph": "7,4", "free_chlorine_mg_l": ">10"}, **{"before-method": "drops"}),
    )

    rows = {reading.parameter: reading for reading in Reading.objects.all()}
    assert (rows["ph"].typed, rows["ph"].method) == ("7.4", "drops")
    assert rows["free_chlorine_mg_l"].bound == ">"


def test_what_no_test_can_show_is_told_with_its_limit_and_kept_as_typed(
    in_firm: Firm, browser: Browser
) -> None:
    visit = started(in_firm)

    page = words_of(
        browser.post(
            url("visit_readings", visit.pk, "before"),
            sheet(visit, {"ph": "74", "temperature_c": "warm"}),
        )
    )

    assert "pH must be from 0 to 14" in page
    assert "Water temperature must be a number from 0 to 100 °C" in page
    assert 'value="warm"' in page
    assert Reading.objects.count() == 0
    assert draft_of(visit, in_firm.technician, "test")["before-temperature_c-value"] == "warm"


def test_48_degrees_is_saved_and_keeps_the_spa_closed(in_firm: Firm, browser: Browser) -> None:
    visit = inspect(in_firm, started(in_firm))

    answer = browser.post(
        url("visit_readings", visit.pk, "before"),
        sheet(visit, {**GOOD, "temperature_c": "48"}, act="decide"),
        follow=True,
    )

    page = words_of(answer)
    assert Reading.objects.get(parameter="temperature_c").typed == "48"
    assert "Closed until a retest, as it would be signed now" in page
    assert "48 °C" in page


def test_a_repeat_stays_and_the_first_can_govern_again(in_firm: Firm, browser: Browser) -> None:
    visit = read(in_firm, started(in_firm), {"ph": "7.4"})
    browser.post(
        url("visit_readings", visit.pk, "before"),
        sheet(visit, {"ph": "7.9"}, **{"before-ph-repeat": "on"}),
    )
    first = Reading.objects.get(typed="7.4")
    assert not first.governs
    assert "Judge 7.4 instead" in words_of(browser.get(url("visit", visit.pk)))

    browser.post(url("visit_governs", visit.pk, first.pk))

    first.refresh_from_db()
    assert first.governs


def test_a_reading_typed_by_mistake_is_taken_back_and_stands_struck_through(
    in_firm: Firm, browser: Browser
) -> None:
    visit = read(in_firm, started(in_firm), {"ph": "7.4"})
    browser.post(
        url("visit_readings", visit.pk, "before"),
        sheet(visit, {"ph": "1"}, **{"before-ph-repeat": "on"}),
    )
    wrong = Reading.objects.get(typed="1")

    browser.post(
        url("visit_withdraw", visit.pk, "before"),
        {"withdraw-before-reading": str(wrong.pk), "withdraw-before-reason": "Wrong cuvette"},
    )

    assert Reading.objects.get().typed == "7.4"
    page = words_of(browser.get(url("visit", visit.pk)))
    assert "<del>pH 1</del>" in page
    assert "Wrong cuvette" in page


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"reason": "Wrong cuvette"}, "Choose the reading that is taken back."),
        ({"reading": str(uuid4()), "reason": "Wrong cuvette"}, "This reading is not there any more."),
        ({"reading": "", "reason": ""}, "Choose the reading that is taken back."),
    ],
)
def test_taking_back_no_reading_is_told_and_the_reason_kept(
    in_firm: Firm, browser: Browser, typed: dict[str, str], told: str
) -> None:
    visit = read(in_firm, started(in_firm), {"ph": "7.4"})
    fields = {f"withdraw-before-{name}": value for name, value in typed.items()}

    page = words_of(browser.post(url("visit_withdraw", visit.pk, "before"), fields))

    assert told in page
    assert f'value="{typed["reason"]}"' in page or not typed["reason"]
    assert Reading.objects.count() == 1


def test_taking_a_reading_back_asks_why(in_firm: Firm, browser: Browser) -> None:
    visit = read(in_firm, started(in_firm), {"ph": "7.4"})
    fields = {"withdraw-before-reading": str(Reading.objects.get().pk), "withdraw-before-reason": " "}

    page = words_of(browser.post(url("visit_withdraw", visit.pk, "before"), fields))

    assert "Say why the reading is taken back." in page
    assert Reading.objects.exists()


def test_a_draft_is_kept_as_typed_and_comes_back_with_a_sentence(in_firm: Firm, browser: Browser) -> None:
    visit = started(in_firm)

    answer = browser.post(
        url("visit_draft", visit.pk), {"section": "test", "before-ph-value": "7.x", "revision": "3"}
    )

    assert answer.status_code == 204
    page = words_of(browser.get(url("visit", visit.pk)))
    assert 'value="7.x"' in page
    assert "You typed something here that is not saved yet" in page
    assert Reading.objects.count() == 0


def test_a_draft_can_be_dropped(in_firm: Firm, browser: Browser) -> None:
    visit = started(in_firm)
    fields = {"before-ph-value": "7.x"}
    save_draft(visit=visit, section="test", fields=fields, by=in_firm.technician)

    browser.post(url("visit_draft", visit.pk), {"section": "test", "drop": "1"})

    assert 'value="7.x"' not in words_of(browser.get(url("visit", visit.pk)))


def test_saving_takes_its_own_fields_out_of_the_draft_alone(in_firm: Firm, browser: Browser) -> None:
    visit = started(in_firm)
    fields = {"task-cover-note": "Seam is open", "task-filter_rinse-note": "Slimy"}
    save_draft(visit=visit, section="do", fields=fields, by=in_firm.technician)

    browser.post(url("visit_task", visit.pk, "cover"), {"task-cover-note": "Seam is open"})

    assert draft_of(visit, in_firm.technician, "do") == {"task-filter_rinse-note": "Slimy"}


@pytest.mark.parametrize(
    "fields", [{"section": "elsewhere"}, {"section": "look", "cover-note": "x" * 60_000}]
)
def test_a_draft_that_cannot_be_kept_says_why(
    in_firm: Firm, browser: Browser, fields: dict[str, str]
) -> None:
    answer = browser.post(url("visit_draft", started(in_firm).pk), fields)

    assert answer.status_code == 422
    assert answer.content


def test_the_pin_is_never_kept_in_a_draft(in_firm: Firm, browser: Browser) -> None:
    visit = started(in_firm)

    browser.post(
        url("visit_sign", visit.pk),
        {"sign-pin": "0000", "sign-note_to_owner": "All well", "revision": str(visit.revision)},
    )

    fields = Draft.objects.get(section="sign").fields
    assert fields["sign-note_to_owner"] == "All well"
    assert "0000" not in str(fields)


def test_the_second_of_two_people_is_shown_what_changed_and_keeps_what_was_typed(
    in_firm: Firm, browser: Browser
) -> None:
    visit = started(in_firm)
    typed = sheet(visit, {"ph": "7.6"})
    read(in_firm, visit, {"ph": "7.2"})

    page = words_of(browser.post(url("visit_readings", visit.pk, "before"), typed))

    assert f"{in_firm.technician.name} changed the readings" in page
    assert 'value="7.6"' in page
    assert Reading.objects.get().typed == "7.2"
    assert f'name="revision" value="{fresh(visit).revision}"' in page


# --- decide and do --------------------------------------------------------------------------------------


def test_asking_for_a_decision_shows_its_verdict(in_firm: Firm, browser: Browser) -> None:
    visit = read(in_firm, inspect(in_firm, started(in_firm)), GOOD)

    browser.post(url("visit_decide", visit.pk, "before"), {"revision": str(visit.revision)})

    assert "People may be let in once the visit is signed" in words_of(browser.get(url("visit", visit.pk)))


def dosed(firm: Firm) -> tuple[Visit, Any]:
    visit = read(firm, inspect(firm, started(firm)), GOOD)
    bicarbonate = product(firm, "Bicarbonate")
    return visit, with_plan(visit, [(bicarbonate, "100", 20)])[0]


def test_a_step_is_done_with_its_batch_and_its_wait_stands_on_the_page(
    in_firm: Firm, browser: Browser
) -> None:
    visit, step = dosed(in_firm)
    batch = BatchFactory(product=step.product, code="LOT-7")

    browser.post(
        url("visit_step", visit.pk, step.pk),
        {f"step-{step.pk}-actual_mass_g": "100", f"step-{step.pk}-batch": str(batch.pk), "act": "do"},
    )

    step.refresh_from_db()
    assert (step.state, step.batch) == (StepState.DONE, batch)
    page = words_of(browser.get(url("visit", visit.pk)))
    assert "wait until" in page
    assert "10:20" in page
    assert "Second readings" in page


def test_a_step_done_earlier_makes_its_wait_run_from_then(
    in_firm: Firm, browser: Browser, clock: Any
) -> None:
    visit, step = dosed(in_firm)
    clock.shift(timedelta(minutes=12))

    browser.post(
        url("visit_step", visit.pk, step.pk),
        {f"step-{step.pk}-actual_mass_g": "100", f"step-{step.pk}-done_at": "10:05", "act": "do"},
    )

    step.refresh_from_db()
    assert f"{step.done_at:%H:%M}" == "09:05"
    assert step.wait_until == step.done_at + timedelta(minutes=20)
    assert "Done at, if not 10:05" in words_of(browser.get(url("visit", visit.pk)))


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("11:30", "This cannot lie in the future; it is 10:00 now."),
        ("09:59", "This lies before the visit began at 10:00."),
        ("noon", "A time of the day, such as 14:05."),
    ],
)
def test_a_time_that_cannot_be_is_told_at_its_field(
    in_firm: Firm, browser: Browser, typed: str, told: str
) -> None:
    visit, step = dosed(in_firm)
    for asked, prefix in (
        (url("visit_step", visit.pk, step.pk), f"step-{step.pk}"),
        (url("visit_task", visit.pk, "filter_rinse"), "task-filter_rinse"),
    ):
        page = words_of(
            browser.post(asked, {f"{prefix}-done_at": typed, f"{prefix}-actual_mass_g": "100", "act": "do"})
        )

        assert told in page
        assert f'id="id_{prefix}-done_at_error"' in page
    assert not fresh(visit).tasks.exists()


def test_a_job_done_earlier_keeps_its_time(in_firm: Firm, browser: Browser, clock: Any) -> None:
    visit = started(in_firm)
    clock.shift(timedelta(minutes=30))

    browser.post(
        url("visit_task", visit.pk, "filter_rinse"), {"act": "do", "task-filter_rinse-done_at": "10:14"}
    )

    done_at = visit.tasks.get().done_at
    assert done_at is not None
    assert f"{done_at:%H:%M}" == "09:14"


def test_a_job_that_nothing_asks_for_can_be_taken_on(in_firm: Firm, browser: Browser) -> None:
    visit = started(in_firm)
    asked = url("visit_task", visit.pk, "line_purge")
    assert asked in words_of(browser.get(url("visit", visit.pk)))

    browser.post(asked, {"act": "take_on"})

    page = words_of(browser.get(url("visit", visit.pk)))
    assert 'id="task-line_purge"' in page
    browser.post(asked, {"act": "do"})
    assert visit.tasks.get(kind="line_purge").state == "done"


def test_a_changed_amount_asks_for_its_reason_at_the_field(in_firm: Firm, browser: Browser) -> None:
    visit, step = dosed(in_firm)

    page = words_of(
        browser.post(
            url("visit_step", visit.pk, step.pk), {f"step-{step.pk}-actual_mass_g": "60", "act": "do"}
        )
    )

    assert "Say why the amount was changed." in page
    assert 'value="60"' in page


def test_an_amount_that_is_no_number_is_told_with_its_limit(in_firm: Firm, browser: Browser) -> None:
    visit, step = dosed(in_firm)

    page = words_of(
        browser.post(
            url("visit_step", visit.pk, step.pk), {f"step-{step.pk}-actual_mass_g": "lots", "act": "do"}
        )
    )

    assert "Really added must be a number, from 0.01 to 100,000 g." in page
    assert 'value="lots"' in page


def test_a_skipped_step_asks_for_its_reason(in_firm: Firm, browser: Browser) -> None:
    visit, step = dosed(in_firm)
    asked = url("visit_step", visit.pk, step.pk)

    assert "Say why the step is skipped." in words_of(browser.post(asked, {"act": "skip"}))
    browser.post(asked, {"act": "skip", f"step-{step.pk}-reason": "None left in the van"})

    step.refresh_from_db()
    assert step.state == StepState.SKIPPED


def test_a_dose_of_ones_own_that_the_engine_refuses_says_why(in_firm: Firm, browser: Browser) -> None:
    visit, step = dosed(in_firm)

    page = words_of(
        browser.post(
            url("visit_own_dose", visit.pk),
            {"own-product": str(step.product_id), "own-mass_g": "90000", "own-reason": "To be sure"},
        )
    )

    assert "<strong>Not done.</strong>" in page
    assert fresh(visit).steps.filter(state=StepState.DONE).count() == 0
    assert 'value="90000"' in page


def test_the_lines_of_a_drain_come_one_after_the_other(in_firm: Firm, browser: Browser) -> None:
    visit = started(in_firm)
    asked = url("visit_task", visit.pk, "drain_refill")

    browser.post(asked, {"act": "take_on"})
    assert "add nothing to the old water" in words_of(browser.get(url("visit", visit.pk)))
    refused = browser.post(asked, {"act": "tick", "line": "discharged"})
    assert "First: Breaker off" in words_of(refused)
    browser.post(asked, {"act": "tick", "line": "breaker_off"})

    assert "breaker_off" in visit.tasks.get().lines_done


def test_a_job_left_asks_for_its_reason(in_firm: Firm, browser: Browser) -> None:
    visit = started(in_firm)

    page = words_of(browser.post(url("visit_task", visit.pk, "filter_rinse"), {"act": "leave"}))

    assert "Say why it is left." in page


# --- photos -----------------------------------------------------------------------------------------------


def test_a_photo_is_added_shown_and_removed(
    in_firm: Firm, browser: Browser, stranger: Firm, sign_in: Any
) -> None:
    visit, file = started(in_firm), BytesIO()
    Image.new("RGB", (20, 10), "teal").save(file, "JPEG")
    upload = SimpleUploadedFile("a.jpg", file.getvalue(), "image/jpeg")

    browser.post(url("visit_photo", visit.pk), {"photo-photo": upload, "photo-caption": "Torn"})

    photo = Photo.objects.get()
    asked = url("photo_file", visit.pk, photo.pk)
    assert browser.get(asked)["Content-Type"] == "image/jpeg"
    assert sign_in(stranger.technician).get(asked).status_code == 404
    browser.post(url("visit_photo_remove", visit.pk, photo.pk))
    assert not Photo.objects.exists()


def test_a_file_that_is_no_photo_is_told(in_firm: Firm, browser: Browser) -> None:
    upload = SimpleUploadedFile("a.jpg", b"MZ not a picture", "image/jpeg")

    page = words_of(browser.post(url("visit_photo", started(in_firm).pk), {"photo-photo": upload}))

    assert "cannot be read as a photo" in page


# --- ending and signing -----------------------------------------------------------------------------------


def test_a_visit_ends_without_a_signature_and_the_day_goes_on(in_firm: Firm, browser: Browser) -> None:
    visit = planned(in_firm)

    answer = browser.post(url("visit_end", visit.pk), {"end-state": "no_access", "end-reason": "Gate locked"})

    assert answer["Location"] == url("today")
    assert fresh(visit).state == VisitState.NO_ACCESS


def test_an_end_without_words_is_told(in_firm: Firm, browser: Browser) -> None:
    page = words_of(browser.post(url("visit_end", planned(in_firm).pk), {"end-state": "no_access"}))

    assert "Say in a few words how the visit ended." in page


def test_a_visit_is_handed_to_a_colleague(in_firm: Firm, browser: Browser) -> None:
    visit = planned(in_firm)

    browser.post(url("visit_hand_over", visit.pk), {"hand-to": str(in_firm.office.pk), "hand-reason": "Van"})

    assert Visit.objects.get(technician=in_firm.office).state == VisitState.PLANNED


def test_the_spa_is_closed_by_hand(in_firm: Firm, browser: Browser) -> None:
    browser.post(url("visit_close", started(in_firm).pk), {"close-reason": "Glass in the water"})

    closure = open_closure(in_firm.spa)
    assert closure is not None
    assert closure.reason == "Glass in the water"


def test_a_wrong_pin_is_told_and_the_note_kept(in_firm: Firm, browser: Browser) -> None:
    visit = ready(in_firm)

    page = words_of(
        browser.post(
            url("visit_sign", visit.pk),
            {"revision": str(visit.revision), "sign-pin": "0000", "sign-note_to_owner": "Filter soon"},
        )
    )

    assert "This is not your PIN." in page
    assert "Filter soon" in page
    assert fresh(visit).state == VisitState.ON_SITE


def test_a_visit_is_signed_and_then_read_only(in_firm: Firm, browser: Browser) -> None:
    visit = ready(in_firm)

    answer = browser.post(
        url("visit_sign", visit.pk), {"revision": str(visit.revision), "sign-pin": PIN}, follow=True
    )

    page = words_of(answer)
    assert fresh(visit).state == VisitState.SIGNED
    assert "Fit for use" in page
    assert "Nothing on it changes any more." in page
    assert "<textarea" not in page
    assert "Free chlorine" in page


def test_what_is_missing_keeps_it_from_being_signed_as_fit_but_not_as_closed(
    in_firm: Firm, browser: Browser
) -> None:
    visit = started(in_firm)
    typed = {"revision": str(visit.revision), "sign-pin": PIN}
    assert "Or sign it as closed until a retest." in words_of(
        browser.post(url("visit_sign", visit.pk), typed)
    )

    browser.post(
        url("visit_sign", visit.pk),
        {
            **typed,
            "sign-closed": "on",
            "sign-retest_by": "Us",
            "sign-retest_due": "2026-06-04T09:30",
        },
    )

    row = fresh(visit)
    assert row.state == VisitState.SIGNED
    # 09:30 on the firm's clock, in summer time.
    assert row.retest_due is not None
    assert row.retest_due.isoformat() == "2026-06-04T08:30:00+00:00"


def test_what_was_typed_for_a_visit_signed_meanwhile_is_still_shown(in_firm: Firm, browser: Browser) -> None:
    visit = ready(in_firm)
    sign(in_firm, visit)

    page = words_of(
        browser.post(url("visit_inspection", visit.pk), {"cover-answer": "no", "cover-note": "Torn hinge"})
    )

    assert "This visit is signed" in page
    assert "Torn hinge" in page
