"""Correcting a signed record: a new row beside it; the record itself never changes."""

from django.db import transaction

from accounts.access import NotAllowed, require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action
from service.visits.models import Amendment, Record
from service.visits.report_runs import ask_for_record_pdf
from service.visits.wording import needed

LONGEST_NAME = 200


@transaction.atomic
def amend_record(
    *, record: Record, corrects: str, was: str, becomes: str, reason: str, by: Person
) -> Amendment:
    """Add a correction: what it corrects, what it said, what it should say, and why.

    The spa's fitness stays what it was signed to be; where the correction means that people should
    not be in the water, the spa is closed by hand as well. A new edition of the PDF is asked for.

    Raises NotAllowed, ValidationError by field.
    """
    require(by, Action.AMEND_RECORDS)
    if record.organisation_id != by.organisation_id:
        raise NotAllowed(Action.AMEND_RECORDS)
    amendment = Amendment.objects.create(
        organisation_id=record.organisation_id,
        record=record,
        corrects=needed(corrects, "corrects", "Say what is corrected.", longest=LONGEST_NAME),
        was=needed(was, "was", "Say what the record says now."),
        becomes=needed(becomes, "becomes", "Say what it should say."),
        reason=needed(reason, "reason", "Say why it is corrected."),
        made_by=by,
    )
    record_event(action="record.amended", subject=record, by=by, detail={"amendment": str(amendment.pk)})
    ask_for_record_pdf(record.visit, by=by)
    return amendment
