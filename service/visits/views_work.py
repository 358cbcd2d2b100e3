"""Posts of Do: steps, doses of one's own, tasks."""

from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_POST

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.stock.models import Batch
from service.visits.forms_work import OwnDoseForm, TaskForm, tell
from service.visits.models import TaskKind, TreatmentStep, Visit
from service.visits.posted import revision, write
from service.visits.tasks import do_task, leave_task, take_on_task, tick_line
from service.visits.treatment import do_step, own_dose, skip_step
from service.visits.visit_page import find_visit, step_form


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_step(request: HttpRequest, pk: UUID, step_pk: UUID) -> HttpResponse:
    """Tick a step with what was really added, or skip it with a reason."""
    row, person = find_visit(request, pk), signed_in(request)
    steps = TreatmentStep.objects.select_related("visit__spa", "product", "decision")
    step = get_object_or_404(steps, pk=step_pk, visit=row)
    batches = Batch.objects.filter(product=step.product_id, archived_at=None) if step.product_id else ()
    form = step_form(row, step, batches, {}, request.POST)

    def act() -> None:
        if not form.is_valid():
            raise ValidationError({})
        given, seen = form.cleaned_data, revision(request)
        if request.POST.get("act") == "skip":
            skip_step(step=step, reason=given["reason"], by=person, expected_revision=seen)
            return
        do_step(
            step=step,
            by=person,
            expected_revision=seen,
            actual_mass_g=given.get("actual_mass_g"),
            batch=given.get("batch"),
            reason=given["reason"],
            done_at=given.get("done_at"),
        )

    return write(
        request,
        row,
        key=f"step-{step.pk}",
        section="do",
        form=form,
        act=act,
        tell=lambda wrong: tell(form, wrong),
        at=f"step-{step.pk}",
    )


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_own_dose(request: HttpRequest, pk: UUID) -> HttpResponse:
    row, person = find_visit(request, pk), signed_in(request)
    form = OwnDoseForm(request.POST, prefix="own", visit=row)

    def act() -> None:
        if not form.is_valid():
            raise ValidationError({})
        own_dose(visit=row, by=person, expected_revision=revision(request), **form.cleaned_data)

    return write(
        request,
        row,
        key="own",
        section="do",
        form=form,
        act=act,
        tell=lambda wrong: tell(form, wrong),
        said="The dose is written down. Test the water once it has mixed.",
    )


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_task(request: HttpRequest, pk: UUID, kind: str) -> HttpResponse:
    """Take a job on, tick or pass its next line, do it or leave it."""
    if kind not in TaskKind.values:
        raise Http404
    row, person = find_visit(request, pk), signed_in(request)
    form = TaskForm(request.POST, prefix=f"task-{kind}", visit=row)

    def act() -> None:
        if not form.is_valid():
            raise ValidationError({})
        _task(request, row, kind, form.cleaned_data, person)

    return write(
        request,
        row,
        key=f"task-{kind}",
        section="do",
        form=form,
        act=act,
        tell=lambda wrong: _tell_task(form, wrong),
        at=f"task-{kind}",
    )


def _task(request: HttpRequest, visit: Visit, kind: str, given: dict[str, Any], by: Person) -> None:
    seen, line = revision(request), request.POST.get("line", "")
    words, at = given["note"], given["done_at"]
    match request.POST.get("act"):
        case "take_on":
            take_on_task(visit=visit, kind=kind, by=by, expected_revision=seen)
        case "tick":
            tick_line(visit=visit, key=line, by=by, expected_revision=seen, done_at=at)
        case "pass":
            if not words.strip():
                raise ValidationError({"skipped": "Say why this line is passed."})
            tick_line(visit=visit, key=line, by=by, expected_revision=seen, skipped=words, done_at=at)
        case "leave":
            leave_task(visit=visit, kind=kind, reason=words, by=by, expected_revision=seen)
        case _:
            do_task(visit=visit, kind=kind, by=by, expected_revision=seen, remark=words, done_at=at)


def _tell_task(form: TaskForm, wrong: ValidationError) -> None:
    """A time's reason at the time; every other one at the note."""
    reasons = wrong.message_dict if hasattr(wrong, "error_dict") else {"note": wrong.messages}
    for name, messages in reasons.items():
        form.add_error("done_at" if name == "done_at" else "note", messages)
