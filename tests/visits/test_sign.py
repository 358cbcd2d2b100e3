"""Signing: who, with what, what it writes, and that nothing is left half done."""

import base64
from datetime import timedelta
from io import BytesIO
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone
from PIL import Image, ImageDraw

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.runs.models import Run
from service.visits import sign as signing
from service.visits.closures import open_closure
from service.visits.drafts import save_draft
from service.visits.editing import AlreadySigned, Changed, Refused
from service.visits.models import Closure, PersonalDatum, Record, Verdict, VisitState
from service.visits.sign import sign_visit
from tests.factories import PIN
from tests.personas import Firm
from tests.visits.working import GOOD, MORNING, fresh, inspect, planned, read, ready, sign, signed, started

BAD = {**GOOD, "free_chlorine_mg_l": "0.4"}
LATER = MORNING + timedelta(hours=4)


def drawing(mode: str = "RGBA", *, empty: bool = False) -> bytes:
    picture = Image.new(mode, (300, 120), "white" if mode != "RGBA" else None)
    if not empty:
        ImageDraw.Draw(picture).line([(20, 90), (150, 20), (280, 90)], fill="black", width=4)
    written = BytesIO()
    picture.save(written, "PNG")
    return written.getvalue()


def test_signing_writes_verdict_record_audit_and_asks_for_the_pdf(
    in_firm: Firm, django_capture_on_commit_callbacks: Any
) -> None:
    visit = ready(in_firm)

    with django_capture_on_commit_callbacks() as after_commit:
        record = sign(in_firm, visit, note_to_owner="  Cover strap is loose.  ")

    done = fresh(visit)
    assert (done.state, done.verdict, done.ended_at) == (VisitState.SIGNED, Verdict.FIT_NOW, MORNING)
    assert (done.tested_at, done.holds_until) == (MORNING, MORNING + timedelta(hours=3))
    assert done.note_to_owner == "Cover strap is loose."
    assert (record.signed_by, record.signed_at) == (in_firm.technician, MORNING)
    event = AuditEvent.objects.get(action="visit.signed")
    assert event.detail["digest"] == record.digest
    run = Run.objects.get()
    assert (run.task, run.arguments) == ("reports.build_visit_record", {"visit": str(visit.pk)})
    assert len(after_commit) == 1


def test_a_wrong_pin_signs_nothing_and_says_how_many_tries_are_left(in_firm: Firm) -> None:
    visit = ready(in_firm)

    with pytest.raises(ValidationError) as wrong:
        sign(in_firm, visit, pin="0000")

    assert wrong.value.message_dict == {"pin": ["This is not your PIN. 4 tries left."]}
    assert fresh(visit).state == VisitState.ON_SITE
    sign(in_firm, visit)


def test_five_wrong_pins_lock_even_the_right_one_for_a_while(in_firm: Firm, clock: Any) -> None:
    visit = ready(in_firm)
    for _ in range(5):
        with pytest.raises(ValidationError):
            sign(in_firm, visit, pin="0000")

    with pytest.raises(Refused, match="Try again in 15 minutes; nothing is lost"):
        sign(in_firm, visit)
    assert fresh(visit).state == VisitState.ON_SITE

    clock.shift(timedelta(minutes=16))
    sign(in_firm, visit)


def test_the_right_pin_forgets_the_wrong_ones(in_firm: Firm, clock: Any) -> None:
    for _ in range(3):
        visit = ready(in_firm)
        for _ in range(3):
            with pytest.raises(ValidationError):
                sign(in_firm, visit, pin="0000")
        sign(in_firm, visit)
        clock.shift(timedelta(hours=1))


def test_without_a_pin_nobody_signs(in_firm: Firm) -> None:
    in_firm.technician.signing_pin = ""

    with pytest.raises(Refused, match="no signing PIN yet"):
        sign(in_firm, ready(in_firm))


def test_strangers_and_those_who_carry_out_no_visits_do_not_sign(in_firm: Firm, stranger: Firm) -> None:
    visit = ready(in_firm)
    for person in (stranger.technician, in_firm.rental_manager, in_firm.auditor):
        with pytest.raises(NotAllowed):
            sign(in_firm, visit, by=person)


def test_a_visit_is_signed_once(in_firm: Firm) -> None:
    visit = signed(in_firm)

    with pytest.raises(AlreadySigned, match="Add an amendment"):
        sign(in_firm, visit)
    assert Record.objects.count() == 1


def test_a_change_meanwhile_is_told_instead_of_signed(in_firm: Firm) -> None:
    visit = ready(in_firm)
    read(in_firm, visit, {"ph": "7.9"})

    with pytest.raises(Changed) as told:
        sign(in_firm, visit, expected_revision=visit.revision)

    assert [change.what for change in told.value.changes] == ["changed the readings"]


def test_what_is_unsaved_or_missing_is_named_and_nothing_is_written(in_firm: Firm) -> None:
    visit = ready(in_firm)
    save_draft(visit=visit, section="test", fields={"ph": "7,"}, by=in_firm.technician)
    with pytest.raises(Refused, match="Save or drop what you typed under Test"):
        sign(in_firm, visit)

    bare = started(in_firm, in_firm.hidden_spa)
    with pytest.raises(Refused, match=r"Test free chlorine and pH\. Or sign it as closed until a retest"):
        sign(in_firm, bare)
    with pytest.raises(Refused, match="Start the visit first"):
        sign(in_firm, planned(in_firm))
    assert not Record.objects.exists()


def test_unfit_water_is_signed_closed_with_who_retests_and_when(in_firm: Firm) -> None:
    visit = ready(in_firm, values=BAD)

    with pytest.raises(ValidationError) as wrong:
        sign(in_firm, visit)
    assert wrong.value.message_dict == {
        "retest_by": ["The spa stays closed: say who tests it again."],
        "retest_due": ["The spa stays closed: say by when it is tested again."],
    }
    with pytest.raises(ValidationError, match="within 31 days"):
        sign(in_firm, visit, retest_by="Us", retest_due=MORNING + timedelta(days=32))
    with pytest.raises(ValidationError, match="must lie ahead"):
        sign(in_firm, visit, retest_by="Us", retest_due=MORNING)

    sign(in_firm, visit, retest_by="The caretaker", retest_due=LATER)

    done, closure = fresh(visit), open_closure(in_firm.spa)
    assert (done.verdict, done.retest_by, done.retest_due) == (
        Verdict.CLOSED_UNTIL_RETEST,
        "The caretaker",
        LATER,
    )
    assert (done.fit_from, done.holds_until) == (None, None)
    assert closure is not None
    assert (closure.visit, closure.closed_by) == (visit, in_firm.technician)
    assert closure.findings[0]["parameter"] == "free_chlorine_mg_l"


def test_a_visit_without_a_test_can_be_signed_closed(in_firm: Firm) -> None:
    visit = inspect(in_firm, started(in_firm))

    sign(in_firm, visit, closed=True, retest_by="Us", retest_due=LATER)

    assert fresh(visit).verdict == Verdict.CLOSED_UNTIL_RETEST
    closure = Closure.objects.get()
    assert "was not measured" in closure.reason


def test_nobody_can_ask_for_a_better_verdict_but_for_a_worse_one(in_firm: Firm) -> None:
    visit = ready(in_firm)

    sign(in_firm, visit, closed=True, retest_by="Us", retest_due=LATER)

    assert fresh(visit).verdict == Verdict.CLOSED_UNTIL_RETEST
    assert Closure.objects.get().reason == "Closed by the decision of the person who signed."


def test_words_have_limits(in_firm: Firm) -> None:
    with pytest.raises(ValidationError, match="At most 2000 characters"):
        sign(in_firm, ready(in_firm), note_to_owner="x" * 2001)
    with pytest.raises(ValidationError, match="At most 120 characters"):
        sign(in_firm, ready(in_firm, in_firm.hidden_spa, BAD), retest_by="x" * 121, retest_due=LATER)


@pytest.mark.parametrize("mode", ["RGBA", "RGB", "L", "1"])
def test_a_drawn_signature_is_kept_apart_as_a_fresh_png(in_firm: Firm, mode: str) -> None:
    drawn = drawing(mode)

    record = sign(in_firm, ready(in_firm), owner_signature=drawn)

    kept = base64.b64decode(PersonalDatum.objects.get(record=record, name="owner_signature").value)
    assert Image.open(BytesIO(kept)).format == "PNG"
    assert kept != drawn


@pytest.mark.parametrize(
    ("drawn", "said"),
    [
        (b"GIF89a", "cannot be read"),
        (b"\x89PNG\r\n\x1a\n" + b"0" * 50, "cannot be read"),
        (drawing(empty=True), "The signature is empty"),
        (b"x" * 300_001, "larger than 300 kB"),
    ],
    ids=["no png", "broken png", "blank", "too large"],
)
def test_a_bad_drawing_is_said_at_its_field(in_firm: Firm, drawn: bytes, said: str) -> None:
    visit = ready(in_firm)
    with pytest.raises(ValidationError) as wrong:
        sign(in_firm, visit, owner_signature=drawn)

    assert said in wrong.value.message_dict["owner_signature"][0]
    assert fresh(visit).state == VisitState.ON_SITE


def test_a_failing_audit_row_leaves_the_visit_unsigned_and_the_spa_as_it_was(
    in_firm: Firm, monkeypatch: pytest.MonkeyPatch
) -> None:
    visit = ready(in_firm, values=BAD)

    def broken(*_: Any, **__: Any) -> None:
        raise OSError("the disk is full")

    monkeypatch.setattr(signing, "note", broken)
    with pytest.raises(OSError, match="disk is full"):
        sign(in_firm, visit, retest_by="Us", retest_due=LATER)

    assert fresh(visit).state == VisitState.ON_SITE
    assert not Record.objects.exists()
    assert not Run.objects.exists()
    assert open_closure(in_firm.spa) is None


def test_signing_wants_its_arguments_by_name(in_firm: Firm) -> None:
    with pytest.raises(TypeError):
        sign_visit(visit=planned(in_firm), pin=PIN, by=in_firm.technician)  # type: ignore[call-arg]
    assert timezone.now() == MORNING
