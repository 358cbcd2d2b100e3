"""Which editions a visit's record has, and reading what one edition shows."""

from collections.abc import Iterator
from typing import NamedTuple

from reports.models import ReportFile, ReportKind
from reports.record.reader import Edition
from reports.record.readings import LAST_VISITS
from service.visits.models import Amendment, PersonalDatum, Record, Visit


class Copy(NamedTuple):
    """One file to be built: the kind of copy and the number of its edition, from 1."""

    kind: ReportKind
    edition: int


def current_edition(visit: Visit) -> int:
    """The number of the edition that shows every amendment made so far."""
    return Amendment.objects.filter(record__visit=visit).count() + 1


def missing_copies(visit: Visit) -> list[Copy]:
    """Copies of the visit's record that are not built yet, or whose file is gone; oldest edition first."""
    built = {(file.kind, file.edition) for file in ReportFile.objects.filter(visit=visit) if is_kept(file)}
    return [copy for copy in _every_copy(visit) if (copy.kind, copy.edition) not in built]


def is_kept(report: ReportFile) -> bool:
    """Whether the file of a row is still there: a restored back-up may hold the one without the other."""
    return bool(report.file.name) and report.file.storage.exists(report.file.name or "")


def read_edition(record: Record, copy: Copy) -> Edition:
    """What the edition shows. Four queries; needs ``organisation`` and ``visit`` loaded."""
    amendments = Amendment.objects.filter(record=record).select_related("made_by").order_by("made_at", "id")
    earlier = Record.objects.filter(visit__spa=record.visit.spa_id, signed_at__lt=record.signed_at)
    return Edition(
        record=record,
        organisation=record.organisation,
        amendments=list(amendments[: copy.edition - 1]),
        personal={datum.name: datum for datum in PersonalDatum.objects.filter(record=record)},
        names=copy.kind == ReportKind.VISIT_RECORD,
        earlier=list(
            earlier.defer("canonical").prefetch_related("amendments").order_by("-signed_at")[:LAST_VISITS]
        ),
    )


def _every_copy(visit: Visit) -> Iterator[Copy]:
    for edition in range(1, current_edition(visit) + 1):
        for kind in ReportKind:
            yield Copy(kind, edition)
