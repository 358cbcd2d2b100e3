"""Handing out a record's PDF: which copy a person gets, whether it is there, asking for it."""

from dataclasses import dataclass

from django.db import transaction
from django.utils.text import slugify

from accounts.access import require
from accounts.models import Person
from accounts.roles import Action
from reports.editions import Copy, current_edition, is_kept
from reports.models import ReportFile, ReportKind
from service.runs.models import Run
from service.shell.clock import local_day
from service.visits.models import Record
from service.visits.report_runs import RECORD_TASK, ask_for_record_pdf


@dataclass(frozen=True)
class Standing:
    """How far a copy is: its file, else the run that makes it (or last tried to), else neither."""

    file: ReportFile | None
    run: Run | None

    @property
    def is_being_made(self) -> bool:
        return self.file is None and self.run is not None and self.run.is_live


def copy_for(person: Person, record: Record, edition: int | None = None) -> Copy:
    """The copy that ``person`` may have: with the names of staff only for those who may see them.

    Needs ``visit`` loaded with the record. edition: the newest when None.
    """
    kind = ReportKind.VISIT_RECORD if person.may(Action.SEE_STAFF_NAMES) else ReportKind.OWNERS_COPY
    return Copy(kind, current_edition(record.visit) if edition is None else edition)


def standing_of(record: Record, copy: Copy) -> Standing:
    """Whether the copy is there, and if not, whether it is being made."""
    file = ReportFile.objects.filter(visit=record.visit_id, kind=copy.kind, edition=copy.edition).first()
    if file is not None and is_kept(file):
        return Standing(file, None)
    runs = Run.objects.filter(organisation=record.organisation_id, about=record.visit_id, task=RECORD_TASK)
    return Standing(None, runs.order_by("-created_at").first())


@transaction.atomic
def ask_for_copy(*, record: Record, by: Person) -> Run:
    """Have the record's missing PDFs made, unless that is under way. The caller may see ``record``.

    Raises NotAllowed.
    """
    require(by, Action.DOWNLOAD_RECORDS)
    standing = standing_of(record, copy_for(by, record))
    if standing.run is not None and standing.is_being_made:
        return standing.run
    return ask_for_record_pdf(record.visit, by=by)


def file_name(record: Record, copy: Copy) -> str:
    """What the downloaded file is called; plain ASCII, whatever the spa is called."""
    day = local_day(record.signed_at, record.organisation.time_zone)
    words = f"visit record {record.visit.spa.name[:60]} {day}"
    later = f"-edition-{copy.edition}" if copy.edition > 1 else ""
    return f"{slugify(words)}{later}.pdf"
