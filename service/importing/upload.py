"""Bringing a list in, up to its preview: keep the file sealed, read it, drop it. Writes no firm's data."""

import base64
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from itertools import islice
from typing import TypeVar

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.utils import timezone
from django_scopes import scopes_disabled

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action
from accounts.sealed import seal, unseal
from service.importing.columns import KINDS
from service.importing.encoding import Undecodable, decode, guess_encoding
from service.importing.known import Known
from service.importing.models import WAITING_STATES, Effect, ListImport, ListRow, ListState
from service.importing.plan import Planned, Planner, twice_in
from service.importing.plan_agreements import AgreementPlanner
from service.importing.plan_readings import ReadingPlanner
from service.importing.tables import Table, Unreadable, guess_delimiter, refuse_size, tables_of
from service.importing.workbook import is_zip
from service.runs.ask import ask_run
from service.runs.models import Run
from service.runs.work import finishing, step

READ_TASK = "importing.read_list"
KEPT_FOR = timedelta(hours=24)
# A file larger than this is read in the background: a text of this size is a few hundred rows.
AT_ONCE_MAX_BYTES = 60 * 1024
CHUNK_ROWS = 500
_PLANNERS: Mapping[str, Callable[[Known, Person], Planner | AgreementPlanner | ReadingPlanner]] = {
    "agreement": AgreementPlanner,
    "reading": ReadingPlanner,
}
Item = TypeVar("Item")


@transaction.atomic
def upload_list(*, kind: str, file_name: str, data: bytes, by: Person) -> ListImport:
    """Keep an uploaded list and read it, at once when it is small, otherwise in a run.

    kind  Key of a kind, or ``ALL`` for a workbook with a sheet for each.

    Raises NotAllowed; ValidationError at ``upload`` for an empty file or one that is too large.
    """
    require(by, Action.IMPORT_LISTS)
    try:
        refuse_size(len(data))
    except Unreadable as refused:
        raise ValidationError({"upload": str(refused)}) from refused
    row = ListImport(organisation=by.organisation, kind=kind, file_name=file_name[-200:], uploaded_by=by)
    _guess(row, data)
    row.file.save("", ContentFile(seal(base64.b64encode(data).decode()).encode()), save=False)
    try:
        row.save(force_insert=True)
        record_event(action="list.uploaded", subject=row, by=by, detail={"kind": kind})
        _read_or_ask(row, len(data), by)
    except BaseException:
        row.file.delete(save=False)
        raise
    return row


@transaction.atomic
def read_again(*, listing: ListImport, kind: str, encoding: str, delimiter: str, by: Person) -> None:
    """Read a list that waits once more, with another kind, encoding or delimiter chosen by a person.

    Raises NotAllowed; ValidationError when it no longer waits.
    """
    require(by, Action.IMPORT_LISTS)
    row = waiting(listing)
    row.kind, row.state, row.problem = kind, ListState.READING, ""
    if row.encoding:
        row.encoding, row.delimiter = encoding, delimiter
        row.encoding_sure = row.delimiter_sure = True
    row.save(
        update_fields=["kind", "state", "problem", "encoding", "delimiter", "encoding_sure", "delimiter_sure"]
    )
    _read_or_ask(row, len(bytes_of(row)), by)


@transaction.atomic
def drop_list(*, listing: ListImport, by: Person) -> None:
    """Forget a list that waits: its file and its rows. Raises NotAllowed; ValidationError."""
    require(by, Action.IMPORT_LISTS)
    _drop(waiting(listing), by)


def drop_stale(now: datetime | None = None) -> int:
    """Forget every list that has waited longer than ``KEPT_FOR``. Returns how many. May run anywhere."""
    before = (now or timezone.now()) - KEPT_FOR
    with scopes_disabled():
        stale = list(ListImport.objects.filter(state__in=WAITING_STATES, uploaded_at__lt=before)[:200])
        for row in stale:
            with transaction.atomic():
                _drop(row, None)
    return len(stale)


def _drop(row: ListImport, by: Person | None) -> None:
    ended = ListImport.objects.filter(pk=row.pk, state__in=WAITING_STATES)
    if ended.update(state=ListState.DROPPED, ended_at=timezone.now(), totals={}):
        ListRow.objects.filter(listing=row.pk).delete()
        record_event(action="list.dropped", subject=row, by=by)
        forget_file(row)


def forget_file(row: ListImport) -> None:
    """Delete the file once the transaction is kept: a rollback must not leave a list without it."""
    if row.file:
        storage, name = row.file.storage, str(row.file)
        ListImport.objects.filter(pk=row.pk).update(file="")
        transaction.on_commit(lambda: storage.delete(name))


def waiting(listing: ListImport) -> ListImport:
    """The list, locked, while it waits. Raises ValidationError otherwise."""
    row = ListImport.objects.select_for_update(of=("self",)).select_related("run").get(pk=listing.pk)
    if row.state == ListState.WRITING and row.run and not row.run.is_live:
        # It was stopped, or failed: nothing of it was written.
        row.state = ListState.READY
        row.save(update_fields=["state"])
    if row.state not in WAITING_STATES:
        raise ValidationError(f"This list no longer waits: {row.get_state_display().lower()}.")
    return row


def bytes_of(row: ListImport) -> bytes:
    with row.file.open("rb") as file:
        return base64.b64decode(unseal(file.read().decode()))


def _guess(row: ListImport, data: bytes) -> None:
    """Encoding and delimiter as found; left empty for a workbook."""
    if is_zip(data):
        return
    guess = guess_encoding(data)
    row.encoding, row.encoding_sure = guess.encoding, guess.sure
    try:
        text = decode(data, guess.encoding)
    except Undecodable:
        text = ""
    row.delimiter, row.delimiter_sure = guess_delimiter(text[:200_000], KINDS.get(row.kind, KINDS["client"]))


def _read_or_ask(row: ListImport, size: int, by: Person) -> None:
    if size <= AT_ONCE_MAX_BYTES:
        read_now(row, by)
        return
    row.run = ask_run(
        task=READ_TASK,
        arguments={"list": str(row.pk)},
        title=f"Reading {row.file_name}"[:200],
        by=by,
        organisation=by.organisation,
    )
    row.save(update_fields=["run"])


def read_now(row: ListImport, by: Person, run: Run | None = None) -> None:
    """Read the file and keep what each row would do. A file that is no list is told in words.

    The rows of an earlier reading are replaced. Memory holds one chunk of rows at a time.
    """
    ListRow.objects.filter(listing=row).delete()
    row.totals, row.left_out, row.problem = {}, {}, ""
    try:
        _read(row, by, run)
        row.state = ListState.READY
    except Unreadable as wrong:
        row.state, row.problem = ListState.UNREADABLE, str(wrong)[:400]
        ListRow.objects.filter(listing=row).delete()
        row.totals = {}
    fields = {"state": row.state, "problem": row.problem, "totals": row.totals, "left_out": row.left_out}
    still = ListImport.objects.filter(pk=row.pk, state=ListState.READING)
    if run is None:
        still.update(**fields)
        return
    with finishing(run):
        still.update(**fields)


def _read(row: ListImport, by: Person, run: Run | None) -> None:
    tables = tables_of(bytes_of(row), kind=row.kind, encoding=row.encoding, delimiter=row.delimiter)
    counted = [(table, *twice_in(table)) for table in tables]
    total = sum(count for _, count, _ in counted)
    if not total:
        raise Unreadable("The list has no rows below its first line.")
    known, done = Known.of(by), 0
    for table, _, twice in counted:
        if table.left_out:
            row.left_out[table.kind.key] = list(table.left_out)
        planner = _PLANNERS.get(table.kind.key, Planner)(known, by)
        for chunk in chunks(table.rows(), CHUNK_ROWS):
            if run:
                step(run, done=done, total=total, doing=f"Reading {table.kind.title.lower()}")
            planned = planner.plan(table, chunk, twice)
            _keep(row, table, planned, done)
            done += len(chunk)


def chunks(items: Iterator[Item], size: int) -> Iterator[list[Item]]:
    while chunk := list(islice(items, size)):
        yield chunk


def _keep(row: ListImport, table: Table, planned: Sequence[Planned], done: int) -> None:
    totals = row.totals.setdefault(table.kind.key, dict.fromkeys(Effect.values, 0))
    for one in planned:
        totals[one.effect.value] += 1
    ListRow.objects.bulk_create(_row(row, one, done + place) for place, one in enumerate(planned, start=1))


def _row(listing: ListImport, one: Planned, order: int) -> ListRow:
    payload = one.payload if one.effect in (Effect.NEW, Effect.CHANGED) else {}
    return ListRow(
        organisation_id=listing.organisation_id,
        listing=listing,
        kind=one.kind.key,
        number=one.number,
        name=one.name,
        effect=one.effect,
        problems=one.problems,
        changes=one.changes,
        remarks=one.remarks,
        object_id=one.object_id,
        payload=json.dumps(payload, cls=DjangoJSONEncoder) if payload else "",
        order=order,
    )
