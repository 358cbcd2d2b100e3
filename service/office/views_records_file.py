"""The visits that ended as a file: what the list of records shows, narrowed by the same filters."""

import csv
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Count, OuterRef, QuerySet, Subquery
from django.http import HttpRequest, StreamingHttpResponse
from django.views.decorators.http import require_safe
from django_scopes import scope

from accounts.access import page_for, signed_in
from accounts.models import Organisation, Person
from accounts.roles import Action
from service.importing.delimited import escaped
from service.visits.clock import zone_of
from service.visits.find_records import RecordFilter, ended_visits
from service.visits.models import Amendment, Verdict, Visit, VisitState

ROWS_AT_ONCE = 1000
# By this mark a spreadsheet knows UTF-8.
MARK = "\N{ZERO WIDTH NO-BREAK SPACE}"


@dataclass(frozen=True)
class Column:
    """One column of the file.

    said  What stands in the table -> the cell; times in the firm's zone.
    only  What a person must be allowed to have the column.
    """

    head: str
    name: str
    said: Callable[[Any, ZoneInfo], str] = lambda value, _: escaped(value or "")
    only: Action | None = None


def _day(day: date, _: ZoneInfo) -> str:
    return day.isoformat()


def _moment(moment: datetime | None, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).isoformat(sep=" ", timespec="minutes") if moment else ""


def _state(state: str, _: ZoneInfo) -> str:
    return str(VisitState(state).label)


def _verdict(verdict: str, _: ZoneInfo) -> str:
    return str(Verdict(verdict).label) if verdict else ""


def _figure(number: int | None, _: ZoneInfo) -> str:
    return str(number or 0)


COLUMNS = (
    Column("Day", "planned_on", _day),
    Column("Ended", "ended_at", _moment),
    Column("Spa", "spa__name"),
    Column("Reference", "spa__reference"),
    Column("Site", "spa__site__name"),
    Column("Client", "spa__site__client__name"),
    Column("Technician", "technician__name", only=Action.SEE_STAFF_NAMES),
    Column("State", "state", _state),
    Column("Why not signed", "end_reason", only=Action.SEE_FIRM),
    Column("Verdict", "verdict", _verdict),
    Column("Fit from", "fit_from", _moment),
    Column("Holds until", "holds_until", _moment),
    Column("Corrections", "corrections", _figure),
    Column("Digest of the record", "record__digest"),
)


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
def records_file(request: HttpRequest) -> StreamingHttpResponse:
    """Every visit that the filters leave, newest first, as CSV (RFC 4180), sent as it is read."""
    person = signed_in(request)
    asked = RecordFilter(request.GET, person=person).asked()
    columns = [column for column in COLUMNS if column.only is None or person.may(column.only)]
    rows = _rows(person, asked).values_list(*(column.name for column in columns))
    lines = _lines(rows, columns, person.organisation)
    answer = StreamingHttpResponse(lines, content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="records.csv"'
    answer["Cache-Control"] = "private, no-store"
    return answer


class _Echo:
    """What a writer of CSV writes to: it hands the line back."""

    def write(self, line: str) -> str:
        return line


def _rows(person: Person, asked: Mapping[str, Any]) -> QuerySet[Visit]:
    amendments = Amendment.objects.filter(record__visit=OuterRef("pk")).order_by().values("record")
    counted = Subquery(amendments.annotate(number=Count("pk")).values("number"))
    rows = ended_visits(person, asked).annotate(corrections=counted)
    return rows.order_by("-planned_on", "-ended_at", "pk")


def _lines(
    rows: QuerySet[Visit, tuple[Any, ...]], columns: Sequence[Column], organisation: Organisation
) -> Iterator[str]:
    zone, writer = zone_of(organisation), csv.writer(_Echo())
    yield MARK + writer.writerow([column.head for column in columns])
    # The request's scope is over by the time the file is sent.
    with scope(organisation=organisation):
        for values in rows.iterator(chunk_size=ROWS_AT_ONCE):
            yield writer.writerow(
                [column.said(value, zone) for column, value in zip(columns, values, strict=True)]
            )
