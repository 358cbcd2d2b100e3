"""Building the PDFs of a record: asked for by name, built once, one edition for each amendment."""

import hashlib
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django_scopes import scope, scopes_disabled
from pytest_django.fixtures import DjangoAssertNumQueries

from accounts.models import AuditEvent
from reports.editions import Copy, read_edition
from reports.models import ReportFile, ReportKind, report_path
from reports.tasks import NOT_SIGNED, build_visit_record
from service.celery import app
from service.runs.models import Run, RunState
from service.runs.work import do_run
from service.visits.amend import amend_record
from service.visits.models import Record, Visit
from service.visits.report_runs import RECORD_TASK, ask_for_record_pdf
from tests.factories import VisitFactory
from tests.personas import Firm
from tests.reports.signed_visits import SIGNED, amended, signed_visit

Build = Callable[..., Run]


@pytest.fixture
def build(in_firm: Firm) -> Build:
    """``build(visit)``: asks for the PDFs and does the work as the worker does. Returns the run."""

    def built(visit: Visit) -> Run:
        run = ask_for_record_pdf(visit, by=in_firm.technician)
        do_run(run.pk, build_visit_record)
        run.refresh_from_db()
        return run

    return built


def copies() -> list[tuple[str, int]]:
    return sorted(ReportFile.objects.values_list("kind", "edition"))


def test_the_task_is_known_to_the_worker_by_its_name() -> None:
    app.loader.import_default_modules()

    assert RECORD_TASK in app.tasks


def test_signed_visits_get_both_copies_with_their_digests(named: Firm, build: Build) -> None:
    run = build(signed_visit(named).visit)

    assert run.state == RunState.DONE
    assert copies() == [(ReportKind.OWNERS_COPY, 1), (ReportKind.VISIT_RECORD, 1)]
    for report in ReportFile.objects.all():
        with report.file.open("rb") as file:
            content = file.read()
        assert content.startswith(b"%PDF-")
        assert hashlib.sha256(content).hexdigest() == report.digest
        assert report.run == run
    assert AuditEvent.objects.filter(action="report.built").count() == 2


def test_building_again_adds_nothing(named: Firm, build: Build) -> None:
    record = signed_visit(named)
    build(record.visit)
    first = set(ReportFile.objects.values_list("pk", "digest", "run"))

    assert build(record.visit).state == RunState.DONE

    assert set(ReportFile.objects.values_list("pk", "digest", "run")) == first


def test_each_amendment_makes_an_edition_and_the_old_one_stays(
    named: Firm, build: Build, django_capture_on_commit_callbacks: Any
) -> None:
    record = signed_visit(named)
    build(record.visit)
    first = set(ReportFile.objects.values_list("kind", "digest"))

    with django_capture_on_commit_callbacks():
        amend_record(
            record=Record.objects.select_related("visit__spa__site", "visit__organisation").get(pk=record.pk),
            corrects="pH, before dosing",
            was="7.4",
            becomes="7.6",
            reason="Misread",
            by=named.technician,
        )
    do_run(Run.objects.get(state=RunState.QUEUED).pk, build_visit_record)

    assert copies() == [(kind, edition) for kind in sorted(ReportKind) for edition in (1, 2)]
    assert set(ReportFile.objects.filter(edition=1).values_list("kind", "digest")) == first
    assert ReportFile.objects.values("digest").distinct().count() == 4


def test_editions_that_were_skipped_are_built_with_the_next_one(named: Firm, build: Build) -> None:
    record = signed_visit(named)
    for day in (1, 2):
        amended(record, named.technician, SIGNED + timedelta(days=day))

    build(record.visit)

    assert [edition for _, edition in copies()] == [1, 2, 3, 1, 2, 3]


def test_what_a_crash_left_half_written_is_put_right(named: Firm, build: Build) -> None:
    record = signed_visit(named)
    half = ReportFile(
        organisation=named.organisation, visit=record.visit, kind=ReportKind.VISIT_RECORD, edition=1
    )
    half.file.storage.save(report_path(half, ""), ContentFile(b"%PDF-1.4 half"))

    build(record.visit)

    report = ReportFile.objects.get(kind=ReportKind.VISIT_RECORD)
    assert report.file.name == report_path(half, "")
    with report.file.open("rb") as file:
        assert hashlib.sha256(file.read()).hexdigest() == report.digest


def test_a_file_that_is_gone_is_made_again_with_the_same_bytes(named: Firm, build: Build) -> None:
    record = signed_visit(named)
    build(record.visit)
    report = ReportFile.objects.get(kind=ReportKind.OWNERS_COPY)
    report.file.storage.delete(report.file.name or "")

    build(record.visit)

    again = ReportFile.objects.get(kind=ReportKind.OWNERS_COPY)
    assert (again.pk, again.digest) == (report.pk, report.digest)
    assert again.file.storage.exists(again.file.name or "")


def test_a_visit_that_is_not_signed_has_no_record_to_set(named: Firm, build: Build) -> None:
    run = build(VisitFactory(spa=named.spa))

    assert (run.state, run.error) == (RunState.FAILED, NOT_SIGNED)
    assert not ReportFile.objects.exists()


def test_a_run_that_was_stopped_keeps_nothing(named: Firm, monkeypatch: pytest.MonkeyPatch) -> None:
    run = ask_for_record_pdf(signed_visit(named).visit, by=named.technician)

    def stopped_meanwhile(mine: Run) -> None:
        Run.objects.filter(pk=mine.pk).update(cancel_asked=True)
        build_visit_record(mine)

    do_run(run.pk, stopped_meanwhile)

    run.refresh_from_db()
    assert run.state == RunState.CANCELLED
    assert not ReportFile.objects.exists()


def test_a_visit_of_another_firm_cannot_be_built_from_here(named: Firm, stranger: Firm) -> None:
    with scope(organisation=stranger.organisation):
        theirs = signed_visit(stranger).visit
    run = ask_for_record_pdf(signed_visit(named).visit, by=named.technician)
    Run.objects.filter(pk=run.pk).update(arguments={"visit": str(theirs.pk)})

    do_run(run.pk, build_visit_record)

    run.refresh_from_db()
    assert (run.state, run.error) == (RunState.FAILED, NOT_SIGNED)
    with scopes_disabled():
        assert not ReportFile.objects.exists()


def test_an_edition_is_read_in_four_queries(
    named: Firm, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    """Amendments with who made them; personal data; the last visits; their amendments."""
    for week in (1, 2, 3):
        signed_visit(named, at=SIGNED - timedelta(weeks=week))
    record = Record.objects.select_related("organisation", "visit").get(pk=signed_visit(named).pk)
    for day in (1, 2):
        amended(record, named.technician, SIGNED + timedelta(days=day))

    with django_assert_num_queries(4):
        edition = read_edition(record, Copy(ReportKind.VISIT_RECORD, 3))
    assert (edition.number, len(edition.earlier)) == (3, 3)
