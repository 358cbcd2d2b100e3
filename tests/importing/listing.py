"""What the tests of lists share: text as bytes, an upload, a confirmed list done as a worker does it."""

import io
from collections.abc import Sequence
from typing import Any

from openpyxl import Workbook

from service.importing.models import ListImport, ListRow
from service.importing.upload import upload_list
from service.importing.write import WRITE_TASK, confirm_list, write_list
from service.runs.models import Run
from service.runs.work import do_run
from tests.personas import Firm

__all__ = ["WRITE_TASK", "confirmed", "effects", "problems", "uploaded", "workbook", "written"]


def uploaded(firm: Firm, kind: str, content: str | bytes, name: str = "list.csv") -> ListImport:
    """A list brought in by the office, read at once; as it stands after reading."""
    data = content.encode() if isinstance(content, str) else content
    return fresh(upload_list(kind=kind, file_name=name, data=data, by=firm.office))


def fresh(listing: ListImport) -> ListImport:
    return ListImport.objects.get(pk=listing.pk)


def confirmed(firm: Firm, listing: ListImport, *, only_good: bool = False) -> Run:
    """The list confirmed, and its run done as a worker does it."""
    run = confirm_list(listing=listing, only_good=only_good, by=firm.office)
    do_run(run.pk, write_list)
    return Run.objects.get(pk=run.pk)


def written(firm: Firm, kind: str, content: str | bytes, name: str = "list.csv") -> ListImport:
    listing = uploaded(firm, kind, content, name)
    run = confirmed(firm, listing)
    assert run.state == "done", run.error
    return fresh(listing)


def effects(listing: ListImport) -> list[str]:
    return list(ListRow.objects.filter(listing=listing).values_list("effect", flat=True))


def problems(listing: ListImport) -> list[tuple[int, str, str]]:
    """Row, column and message of every error."""
    return [
        (row.number, problem["column"], problem["message"])
        for row in ListRow.objects.filter(listing=listing)
        for problem in row.problems
    ]


def workbook(sheets: dict[str, Sequence[Sequence[Any]]]) -> bytes:
    """A workbook as a spreadsheet saves it."""
    book = Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(list(row))
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()
