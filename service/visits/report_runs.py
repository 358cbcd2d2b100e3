"""Asking for what leaves the house. The room above builds it; it is asked for by name."""

from accounts.models import Person
from service.runs.ask import ask_run
from service.runs.models import Run
from service.visits.clock import day_of, zone_of
from service.visits.models import Visit

RECORD_TASK = "reports.build_visit_record"


def ask_for_record_pdf(visit: Visit, *, by: Person) -> Run:
    """Ask for the next edition of the visit's record as a PDF, inside the transaction that needs it.

    Needs ``spa.site`` and ``organisation`` loaded with the visit.
    """
    day = day_of(visit.ended_at, zone_of(visit.organisation)) if visit.ended_at else visit.planned_on
    return ask_run(
        task=RECORD_TASK,
        arguments={"visit": str(visit.pk)},
        about=visit.pk,
        title=f"Visit record of {day.day} {day:%B %Y}, {visit.spa.name}",
        by=by,
        organisation=visit.organisation,
    )
