"""Background work of this room, asked for by name."""

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.storage import Storage

from accounts.audit import record_event
from reports.editions import Copy, missing_copies, read_edition
from reports.models import ReportFile, report_path
from reports.paper.page import Pdf
from reports.record.document import record_pdf
from service.runs.models import Run
from service.runs.work import RunFailed, background, finishing, step
from service.visits.models import Photo, Record
from service.visits.report_runs import RECORD_TASK

NOT_SIGNED = "There is no signed record of this visit to set."


@background(RECORD_TASK)
def build_visit_record(run: Run) -> None:
    """Build every copy and edition of a visit's record that is missing, and keep them all or none.

    Doing it again, after a crash or for a run asked twice, gives the same bytes and adds nothing.
    """
    record = _record(run)
    photos = list(Photo.objects.filter(visit=record.visit))
    copies = missing_copies(record.visit)
    built: list[tuple[Copy, Pdf]] = []
    for done, copy in enumerate(copies):
        step(run, done=done, total=len(copies), doing=f"Setting {copy.kind.label.lower()}")
        built.append((copy, record_pdf(read_edition(record, copy), photos)))
    step(run, done=len(copies), total=len(copies), doing="Keeping the files")
    files = [_stored(run, record, copy, pdf) for copy, pdf in built]
    with finishing(run):
        # One run after the other: the same copy asked for twice is kept once.
        Record.objects.select_for_update(of=("self",)).get(pk=record.pk)
        for file in files:
            _keep(file, run)


def _keep(file: ReportFile, run: Run) -> None:
    same_copy = ReportFile.objects.filter(visit=file.visit, kind=file.kind, edition=file.edition)
    standing = same_copy.first()
    if standing is not None and standing.digest == file.digest:
        return
    if standing is not None:
        # Its file was gone, and what it shows has changed since (a person erased).
        file.pk, file._state.adding = standing.pk, False
    file.save()
    detail = {"kind": file.kind, "edition": file.edition, "digest": file.digest}
    record_event(action="report.built", subject=file.visit, by=run.asked_by, detail=detail)


def _record(run: Run) -> Record:
    records = Record.objects.select_related("organisation", "visit")
    try:
        return records.get(visit=run.arguments["visit"])
    except (Record.DoesNotExist, KeyError, ValidationError) as unknown:
        raise RunFailed(NOT_SIGNED) from unknown


def _stored(run: Run, record: Record, copy: Copy, pdf: Pdf) -> ReportFile:
    """The file on disk and its row, not yet saved. What a crash left at its place is put right."""
    report = ReportFile(
        organisation=record.organisation,
        visit=record.visit,
        kind=copy.kind,
        edition=copy.edition,
        run=run,
        digest=pdf.digest,
        pages=pdf.pages,
    )
    storage, name = report.file.storage, report_path(report, "")
    if not _holds(storage, name, pdf.content):
        storage.delete(name)
        name = storage.save(name, ContentFile(pdf.content))
    report.file.name = name
    return report


def _holds(storage: Storage, name: str, content: bytes) -> bool:
    if not storage.exists(name):
        return False
    with storage.open(name) as file:
        return bool(file.read() == content)
