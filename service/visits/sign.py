"""Signing a visit: the verdict is written, the spa closed or reopened, the record made, all locked."""

from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from accounts.models import Person
from accounts.roles import Action
from service.visits.closures import LONGEST_REASON, close_spa, reopen
from service.visits.drafts import unsaved_sections
from service.visits.editing import Refused, allow, edit, note
from service.visits.models import Closure, Draft, Record, Verdict, Visit, VisitState
from service.visits.pins import check_pin
from service.visits.record import content_of, write_record
from service.visits.report_runs import ask_for_record_pdf
from service.visits.signature import signature_text
from service.visits.tasks import write_down_what_is_left
from service.visits.verdict import Case, VerdictAtSign, look_at, verdict_of
from service.visits.wording import optional

LATEST_RETEST = timedelta(days=31)
LONGEST_NAME = 120
LONGEST_NOTE = 2000
_WRITTEN = (
    "state",
    "verdict",
    "fit_from",
    "holds_until",
    "tested_at",
    "ended_at",
    "retest_by",
    "retest_due",
    "note_to_owner",
)


def sign_visit(
    *,
    visit: Visit,
    pin: str,
    by: Person,
    expected_revision: int,
    owner_signature: bytes | None = None,
    retest_by: str = "",
    retest_due: datetime | None = None,
    note_to_owner: str = "",
    closed: bool = False,
) -> Record:
    """Sign a visit with the verdict that stands for it now. Nothing on it changes afterwards.

    retest_by, retest_due  Who tests again and by when: needed with a closed verdict.
    closed                 Sign it closed although something is still missing for a better verdict,
                           or although the water is fit. A fit verdict cannot be asked for.
    owner_signature        A drawn signature, PNG.

    The spa is closed, or its closure ended by the readings; the record is made, its PDF asked for.

    Raises NotAllowed, AlreadySigned, Changed; Refused when something is unsaved or missing, signing is
    locked or no PIN is set; ValidationError by field (pin, retest_by, retest_due, note_to_owner,
    owner_signature).
    """
    allow(visit, by=by, action=Action.CARRY_OUT_VISITS)
    check_pin(by, pin)
    drawn = signature_text(owner_signature)
    words = optional(note_to_owner, "note_to_owner", longest=LONGEST_NOTE)
    with transaction.atomic():
        row = edit(visit, by=by, expected_revision=expected_revision)
        now = timezone.now()
        case = look_at(row, now)
        standing = _accepted(verdict_of(case, unsaved_sections(row, by)), closed=closed)
        _set(row, standing, now, words)
        if not standing.is_fit:
            _set_retest(row, retest_by, retest_due, now)
        write_down_what_is_left(row)
        # The verdict was found with the jobs as they were loaded before.
        row.refresh_from_db(fields=["tasks"])
        closure = _close_or_reopen(case, standing, by)
        written = content_of(row, signed_by=by, owner_signature=drawn, closures=[closure] if closure else [])
        record = write_record(row, written, signed_by=by)
        Draft.objects.filter(visit=row).delete()
        ask_for_record_pdf(row, by=by)
        note(row, "visit.signed", by=by, verdict=row.verdict, digest=record.digest)
        # Last of all: from here on the database itself refuses any change.
        row.state = VisitState.SIGNED
        row.save(update_fields=_WRITTEN)
    return record


def _accepted(standing: VerdictAtSign, *, closed: bool) -> VerdictAtSign:
    """The verdict that is signed. Raises Refused while something is unsaved, or missing and not accepted."""
    if standing.blocks:
        raise Refused(" ".join(standing.blocks))
    if closed and standing.is_fit:
        return VerdictAtSign(
            Verdict.CLOSED_UNTIL_RETEST,
            None,
            None,
            standing.tested_at,
            ["Closed by the decision of the person who signed."],
            [],
            [],
        )
    if standing.needs and not closed:
        raise Refused(f"{' '.join(standing.needs)} Or sign it as closed until a retest.")
    return standing


def _set(visit: Visit, standing: VerdictAtSign, now: datetime, words: str) -> None:
    visit.verdict = standing.verdict
    visit.fit_from = standing.fit_from
    visit.holds_until = standing.holds_until
    visit.tested_at = standing.tested_at
    visit.ended_at = now
    visit.note_to_owner = words


def _set_retest(visit: Visit, retest_by: str, retest_due: datetime | None, now: datetime) -> None:
    errors = {}
    who = retest_by.strip()
    if not who:
        errors["retest_by"] = "The spa stays closed: say who tests it again."
    elif len(who) > LONGEST_NAME:
        errors["retest_by"] = f"At most {LONGEST_NAME} characters; this has {len(who)}."
    if retest_due is None:
        errors["retest_due"] = "The spa stays closed: say by when it is tested again."
    elif not now < retest_due <= now + LATEST_RETEST:
        errors["retest_due"] = f"The retest must lie ahead, within {LATEST_RETEST.days} days."
    if errors:
        raise ValidationError(errors)
    visit.retest_by, visit.retest_due = who, retest_due


def _close_or_reopen(case: Case, standing: VerdictAtSign, by: Person) -> Closure | None:
    """The closure that this signature opens, renews or ends; None when there is none."""
    visit = case.visit
    if not standing.is_fit:
        reasons = " ".join([*standing.why, *standing.needs]) or "Closed until a retest."
        return close_spa(
            spa=visit.spa,
            reason=reasons[:LONGEST_REASON],
            by=by,
            visit=visit,
            findings=case.judgement.blocking,
            at=visit.ended_at,
        )
    if case.closure:
        assert visit.ended_at is not None
        reopen(case.closure, visit=visit, by=by, at=visit.ended_at)
    return case.closure
