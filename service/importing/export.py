"""Lists out: the columns of the import, filled, as text (CSV) or workbook (XLSX). Sealed columns stay inside.

What is written is read back unchanged: no row of it is new or changed on import.
"""

import csv
import io
import re
import tempfile
from collections.abc import Callable, Iterable, Iterator
from itertools import groupby
from typing import IO, Any, cast
from zoneinfo import ZoneInfo

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font

from accounts.models import Person
from service.importing.columns import ALL, KEY, KINDS
from service.importing.columns_agreements import AGREEMENT_COLUMNS
from service.importing.delimited import escaped
from service.importing.kind import Column, Kind, as_text
from service.importing.named import ATTRIBUTES, Named, now
from service.importing.plan_readings import said
from service.rounds.visible import visible_agreements
from service.shell.fields import NumberField
from service.sites.archive import in_use
from service.sites.models import Spa
from service.sites.visible import visible_clients, visible_sites, visible_spas
from service.visits.clock import zone_of
from service.visits.models import ImportedReading
from service.visits.parameters import BY_PARAMETER

FORMS = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
_FIGURE = re.compile(r"-?\d{1,15}(\.\d{1,10})?")
_SEALED = ("access_code", "access_notes")
_IN_MEMORY_BYTES = 2 * 1024 * 1024
Line = dict[str, str]


def list_file(kind: str, form: str, by: Person | None) -> IO[bytes]:
    """A list as a file, from its beginning; the template, without rows, when ``by`` is None.

    kind  Key of a kind; ``ALL``, with form "xlsx" only, for a sheet of each.
    """
    kinds = list(KINDS.values()) if kind == ALL else [KINDS[kind]]
    file = cast("IO[bytes]", tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY_BYTES))  # noqa: SIM115
    try:
        if form == "csv":
            _write_text(file, kinds[0], by)
        else:
            _write_workbook(file, kinds, by)
        file.seek(0)
    except BaseException:
        file.close()
        raise
    return file


def columns_out(kind: Kind, *, template: bool) -> list[Column]:
    """The columns of a file that leaves: a template has the sealed ones and no key."""
    return [column for column in kind.columns if not (column.name == KEY if template else column.sealed)]


def _lines(kind: Kind, by: Person | None) -> Iterable[Line]:
    return _LINES[kind.key](by) if by else ()


def _write_text(file: IO[bytes], kind: Kind, by: Person | None) -> None:
    """RFC 4180, in UTF-8 with the mark by which spreadsheets know it."""
    columns = columns_out(kind, template=by is None)
    text = io.TextIOWrapper(file, "utf-8-sig", newline="", write_through=True)
    writer = csv.writer(text)
    writer.writerow([column.name for column in columns])
    for line in _lines(kind, by):
        writer.writerow([_safe(line.get(column.name, "")) for column in columns])
    text.detach()


def _safe(text: str) -> str:
    return text if _FIGURE.fullmatch(text) else escaped(text)


def _write_workbook(file: IO[bytes], kinds: Iterable[Kind], by: Person | None) -> None:
    book = Workbook(write_only=True)
    for kind in kinds:
        columns = columns_out(kind, template=by is None)
        sheet = book.create_sheet(kind.title)
        sheet.freeze_panes = "A2"
        sheet.append([_cell(sheet, column.name, bold=True) for column in columns])
        for line in _lines(kind, by):
            sheet.append([_typed(sheet, column, line.get(column.name, "")) for column in columns])
    book.save(file)


def _typed(sheet: Any, column: Column, text: str) -> Any:
    if isinstance(column.input, NumberField) and _FIGURE.fullmatch(text):
        return float(text) if "." in text else int(text)
    return _cell(sheet, _safe(text))


def _cell(sheet: Any, text: str, *, bold: bool = False) -> Any:
    """A cell that is text, whatever it begins with."""
    cell = WriteOnlyCell(sheet, value=text or None)
    if text:
        cell.data_type = "s"
    if bold:
        cell.font = Font(bold=True)
    return cell


def _line(kind: Kind, thing: Any) -> Line:
    line = {
        column.name: as_text(getattr(thing, column.name))
        for column in kind.columns
        if column.input is not None and not column.sealed
    }
    return line | {KEY: str(thing.pk)}


def _clients(by: Person) -> Iterator[Line]:
    for client in visible_clients(by).filter(archived_at=None).order_by("name", "pk").iterator():
        yield _line(KINDS["client"], client)


def _sites(by: Person) -> Iterator[Line]:
    sites = visible_sites(by).filter(archived_at=None, client__archived_at=None)
    rows = sites.select_related("client").defer(*_SEALED).order_by("client__name", "name", "pk")
    for site in rows.iterator():
        yield _line(KINDS["site"], site) | _naming("client", site.client)


def _spas(by: Person) -> Iterator[Line]:
    rows = in_use(visible_spas(by)).select_related("site__client")
    rows = rows.defer(*(f"site__{name}" for name in _SEALED))
    for spa in rows.order_by("site__client__name", "site__name", "name", "pk").iterator():
        above = _naming("site", spa.site) | {"client": as_text(spa.site.client.name)}
        yield _line(KINDS["spa"], spa) | above


def _naming(key: str, parent: Any) -> Line:
    return {f"{key}_reference": as_text(parent.reference), key: as_text(parent.name)}


def _agreements(by: Person) -> Iterator[Line]:
    """All of them, those that have ended too: their last day says so."""
    named = Named.of(by)
    rows = visible_agreements(by).filter(spa__in=in_use(visible_spas(by)))
    rows = rows.select_related("spa__site__client").prefetch_related("skills", "not_with")
    rows = rows.defer(*(f"spa__site__{name}" for name in _SEALED))
    for agreement in rows.order_by("spa__name", "spa", "starts_on", "pk").iterator(chunk_size=2000):
        yield (
            _of_spa(agreement.spa)
            | {
                column.name: named.said(attribute, now(agreement, attribute))
                for column in AGREEMENT_COLUMNS
                for attribute in (ATTRIBUTES.get(column.name, column.name),)
            }
            | {KEY: str(agreement.pk)}
        )


def _of_spa(spa: Spa) -> Line:
    above = {"site": as_text(spa.site.name), "client": as_text(spa.site.client.name)}
    return _naming("spa", spa) | above


def _readings(by: Person) -> Iterator[Line]:
    """Readings that came from lists; those of visits leave with their records."""
    zone = zone_of(by.organisation)
    rows = ImportedReading.objects.filter(spa__in=in_use(visible_spas(by))).select_related(
        "spa__site__client"
    )
    rows = rows.defer(*(f"spa__site__{name}" for name in _SEALED))
    ordered = rows.order_by("spa__name", "spa", "taken_at", "method", "parameter").iterator(chunk_size=2000)
    for _, group in groupby(ordered, key=lambda one: (one.spa_id, one.taken_at, one.method)):
        yield _reading_line(list(group), zone)


def _reading_line(group: list[ImportedReading], zone: ZoneInfo) -> Line:
    first = group[0]
    line = _of_spa(first.spa) | {
        "taken_at": as_text(first.taken_at.astimezone(zone)),
        "method": first.method,
    }
    return line | {one.parameter: _as_typed(one) for one in group if one.parameter in BY_PARAMETER}


def _as_typed(reading: ImportedReading) -> str:
    own = BY_PARAMETER[reading.parameter].unit
    unit = "" if reading.typed_unit == own else reading.typed_unit
    return said({"bound": reading.bound, "typed": reading.typed, "typed_unit": unit})


_LINES: dict[str, Callable[[Person], Iterator[Line]]] = {
    "client": _clients,
    "site": _sites,
    "spa": _spas,
    "agreement": _agreements,
    "reading": _readings,
}
