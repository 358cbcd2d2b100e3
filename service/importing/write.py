"""Writing a list that a person has looked at: all of it in one transaction, or nothing.

Between the preview and this moment anybody may have changed anything. What the preview was worked out
from is therefore held against the database again, inside the transaction; a difference stops it.
"""

import json
import threading
from collections.abc import Iterator, Sequence

from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.utils import timezone
from django_scopes import scopes_disabled

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action
from service.importing.columns import KINDS
from service.importing.kind import Kind
from service.importing.meanwhile import ChangedMeanwhile
from service.importing.models import Effect, ListImport, ListRow, ListState
from service.importing.upload import CHUNK_ROWS, forget_file, waiting
from service.importing.write_agreements import write_agreements
from service.importing.write_places import write_places
from service.importing.write_readings import write_readings
from service.runs.ask import ask_run
from service.runs.models import Run
from service.runs.work import RunFailed, Stopped, finish, step

WRITE_TASK = "importing.write_list"
_WRITTEN = (Effect.NEW, Effect.CHANGED)


@transaction.atomic
def confirm_list(*, listing: ListImport, only_good: bool, by: Person) -> Run:
    """Ask for a list to be written as its preview shows it. Returns the run.

    only_good  Leave out the rows that have errors; without it a list with errors is refused.

    Raises NotAllowed; ValidationError when it has errors, changes nothing, or no longer waits.
    """
    require(by, Action.IMPORT_LISTS)
    row = waiting(listing)
    if row.state != ListState.READY or row.problem:
        raise ValidationError("Read the list again first.")
    if (wrong := row.count(Effect.WRONG)) and not only_good:
        rows = "1 row has errors" if wrong == 1 else f"{wrong:,} rows have errors"
        raise ValidationError(f"{rows}. Mend the list, or choose to import the rows without errors.")
    if not row.count(Effect.NEW) + row.count(Effect.CHANGED):
        raise ValidationError("Nothing in this list is new or changed.")
    row.run = ask_run(
        task=WRITE_TASK,
        arguments={"list": str(row.pk)},
        title=f"Importing {row.file_name}"[:200],
        by=by,
        organisation=by.organisation,
    )
    row.state, row.only_good = ListState.WRITING, only_good
    row.save(update_fields=["run", "state", "only_good"])
    return row.run


def write_list(run: Run) -> None:
    """The work of a confirmed list. Done again after a crash it finds nothing there, or all of it."""
    listing = ListImport.objects.get(pk=run.arguments["list"])
    by = run.asked_by
    if listing.state != ListState.WRITING or listing.run_id != run.pk:
        return
    if by is None or not by.may(Action.IMPORT_LISTS):
        _back_to_preview(listing, "")
        raise RunFailed("Whoever asked for this may not import lists any more.")
    try:
        _write(listing, by, run)
    except ChangedMeanwhile as changed:
        _back_to_preview(listing, str(changed))
        raise RunFailed(f"Nothing was imported. {changed}") from changed


def _back_to_preview(listing: ListImport, problem: str) -> None:
    still = ListImport.objects.filter(pk=listing.pk, state=ListState.WRITING)
    still.update(state=ListState.READY, problem=problem[:400])


def _write(listing: ListImport, by: Person, run: Run) -> None:
    total = listing.count(Effect.NEW) + listing.count(Effect.CHANGED)
    step(run, done=0, total=total, doing="Writing all rows in one go")
    with transaction.atomic():
        row = ListImport.objects.select_for_update().get(pk=listing.pk)
        done = 0
        for kind in KINDS.values():
            for rows in rows_of(row, kind):
                _stop_if_asked(run)
                _write_rows(kind, rows, row, by)
                done += len(rows)
                _tell_outside(run, done, total, f"Writing {kind.title.lower()}")
        row.state, row.ended_at = ListState.DONE, timezone.now()
        row.save(update_fields=["state", "ended_at"])
        counts = {key: {name: n for name, n in kind.items() if n} for key, kind in row.totals.items()}
        record_event(action="list.imported", subject=row, by=by, detail=counts)
        forget_file(row)
        finish(run)


def rows_of(listing: ListImport, kind: Kind) -> Iterator[list[ListRow]]:
    """The rows of one kind that are new or change something, in order, a chunk at a time."""
    rows = ListRow.objects.filter(listing=listing, kind=kind.key, effect__in=_WRITTEN).order_by("order")
    after = 0
    while chunk := list(rows.filter(order__gt=after)[:CHUNK_ROWS]):
        yield chunk
        after = chunk[-1].order


def _stop_if_asked(run: Run) -> None:
    if Run.objects.filter(pk=run.pk, cancel_asked=True).exists():
        raise Stopped


def _tell_outside(run: Run, done: int, total: int, doing: str) -> None:
    """Say how far it is where others see it before the transaction ends: over a connection of its own.

    SQLite lets nobody write beside an open transaction; there the work is said once, before it.
    """
    if connection.vendor != "postgresql":
        return

    def tell() -> None:
        try:
            with scopes_disabled():
                step(run, done=done, total=total, doing=doing)
        except Stopped:
            pass  # seen by ``_stop_if_asked``, or by the end of the run
        finally:
            connection.close()

    thread = threading.Thread(target=tell, name=f"progress of {run.pk}")
    thread.start()
    thread.join()


def _write_rows(kind: Kind, rows: Sequence[ListRow], listing: ListImport, by: Person) -> None:
    payloads = [json.loads(row.payload) for row in rows]
    try:
        with transaction.atomic():
            if kind.key == "reading":
                write_readings(rows, payloads, listing, by)
            elif kind.key == "agreement":
                write_agreements(list(zip(rows, payloads, strict=True)), by)
            else:
                write_places(kind, list(zip(rows, payloads, strict=True)), by)
    except IntegrityError as clash:
        raise ChangedMeanwhile(rows[0], "or near it, somebody has added the same meanwhile.") from clash
