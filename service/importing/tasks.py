"""Tasks of this room: reading and writing a list as runs, and the sweep of lists nobody came back to."""

from celery import shared_task

from service.importing.models import ListImport, ListState
from service.importing.upload import READ_TASK, drop_stale, read_now
from service.importing.write import WRITE_TASK, write_list
from service.runs.models import Run
from service.runs.work import background


@background(READ_TASK)
def read_in_background(run: Run) -> None:
    listing = ListImport.objects.filter(pk=run.arguments["list"], state=ListState.READING, run=run).first()
    if listing and run.asked_by:
        read_now(listing, run.asked_by, run)


@background(WRITE_TASK)
def write_in_background(run: Run) -> None:
    write_list(run)


@shared_task(name="importing.drop_stale")
def drop_stale_lists() -> None:
    drop_stale()
