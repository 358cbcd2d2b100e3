"""Defects after they were found: what the owner says, who pays, how they were settled."""

from datetime import date

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from accounts.access import NotAllowed, require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action
from service.sites.models import Spa
from service.sites.visible import visible_spas
from service.visits.clock import day_of, zone_of
from service.visits.editing import Refused
from service.visits.models import Consent, Defect, Severity, WhoPays
from service.visits.wording import needed


def visible_defects(person: Person) -> QuerySet[Defect]:
    """Defects of the spas that ``person`` may see."""
    defects = Defect.objects.filter(organisation=person.organisation_id)
    return defects if person.may(Action.SEE_FIRM) else defects.filter(spa__in=visible_spas(person))


@transaction.atomic
def settle_defect(*, defect: Defect, note: str, by: Person) -> Defect:
    """Close a defect, with how it was settled. A closed spa stays closed until a reading reopens it.

    Raises NotAllowed, Refused (settled already), ValidationError for ``note``.
    """
    row = _locked(defect, by)
    row.closing_note = needed(note, "note", "Say how it was settled.")
    row.closed_at, row.closed_by = timezone.now(), by
    row.save(update_fields=["closing_note", "closed_at", "closed_by"])
    record_event(action="defect.settled", subject=row, by=by)
    return row


@transaction.atomic
def record_consent(*, defect: Defect, consent: str, who_pays: str, by: Person) -> Defect:
    """Record what the owner said to the repair, and who pays for it.

    Raises NotAllowed, Refused (settled already), ValidationError by field.
    """
    row = _locked(defect, by)
    if consent not in Consent.values:
        raise ValidationError({"consent": "Choose the owner's answer from the list."})
    if who_pays not in WhoPays.values:
        raise ValidationError({"who_pays": "Choose who pays from the list."})
    row.consent, row.who_pays = consent, who_pays
    row.save(update_fields=["consent", "who_pays"])
    record_event(action="defect.consent_recorded", subject=row, by=by, detail={"consent": consent})
    return row


@transaction.atomic
def answer_for_owner(*, defect: Defect, consent: str, by: Person) -> Defect:
    """Record the yes or no of somebody on the client's side to a repair that waits for it.

    Raises NotAllowed (also for a spa that is not theirs), Refused (settled or answered already),
    ValidationError for ``consent``.
    """
    require(by, Action.ANSWER_FOR_OWNER)
    row = visible_defects(by).filter(pk=defect.pk).select_for_update(of=("self",)).first()
    if row is None:
        raise NotAllowed(Action.ANSWER_FOR_OWNER)
    if row.closed_at:
        raise Refused("This defect is settled already.")
    if row.consent != Consent.WAITING:
        raise Refused("This has been answered already. Call the firm to change it.")
    if consent not in {Consent.GIVEN, Consent.REFUSED}:
        raise ValidationError({"consent": "Answer yes or no."})
    row.consent = consent
    row.save(update_fields=["consent"])
    record_event(action="defect.consent_recorded", subject=row, by=by, detail={"consent": consent})
    return row


@transaction.atomic
def grade_defect(*, defect: Defect, severity: str, due_on: date | None, by: Person) -> Defect:
    """Say how bad a defect is and by when it is to be mended.

    What closes a spa under every guideline set cannot be called less than that.

    Raises NotAllowed, Refused (settled already), ValidationError by field.
    """
    row = _locked(defect, by)
    if severity not in Severity.values:
        raise ValidationError({"severity": "Choose how bad it is from the list."})
    if row.severity == Severity.DANGER and severity != Severity.DANGER and row.item:
        raise ValidationError({"severity": "This closes the spa. Settle it once it is mended."})
    found_on = day_of(row.found_at, zone_of(row.organisation))
    if due_on and due_on < found_on and due_on != row.due_on:
        words = f"{found_on.day} {found_on:%B %Y}"
        raise ValidationError({"due_on": f"This lies before the day it was found, {words}."})
    row.severity, row.due_on = severity, due_on
    row.save(update_fields=["severity", "due_on"])
    record_event(action="defect.graded", subject=row, by=by, detail={"severity": severity})
    return row


def open_dangers(spa: Spa) -> list[Defect]:
    """Defects that close the spa and are not settled."""
    return list(Defect.objects.filter(spa=spa, severity=Severity.DANGER, closed_at=None))


def _locked(defect: Defect, by: Person) -> Defect:
    require(by, Action.SETTLE_DEFECTS)
    if defect.organisation_id != by.organisation_id:
        raise NotAllowed(Action.SETTLE_DEFECTS)
    row = Defect.objects.select_for_update().get(pk=defect.pk)
    if row.closed_at:
        raise Refused("This defect is settled already.")
    return row
