"""Posts of Look, Test and Decide."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_POST

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.visits.decide import decide
from service.visits.editing import Refused
from service.visits.forms_look import look_sheet
from service.visits.forms_test import WithdrawForm
from service.visits.forms_work import tell
from service.visits.look import save_look
from service.visits.models import Moment, Reading, Visit
from service.visits.posted import revision, write
from service.visits.readings import choose_governing, record_readings, withdraw_reading
from service.visits.visit_page import after_sheet, before_sheet, beside_of, find_visit


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_inspection(request: HttpRequest, pk: UUID) -> HttpResponse:
    row, person = find_visit(request, pk), signed_in(request)
    sheet = look_sheet(row, {}, request.POST, request.FILES)
    return write(
        request,
        row,
        key="look",
        section="look",
        form=sheet,
        act=lambda: save_look(
            visit=row,
            answers=sheet.answers(),
            photos=sheet.photos(),
            by=person,
            expected_revision=revision(request),
        ),
        tell=sheet.tell,
        said="The inspection is saved.",
        at="test",
    )


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_readings(request: HttpRequest, pk: UUID, moment: str) -> HttpResponse:
    """Save the readings of one moment; asked for in the same press, the decision follows."""
    row, person = find_visit(request, pk), signed_in(request)
    sheet_of = before_sheet if _moment(moment) == Moment.BEFORE else after_sheet
    sheet = sheet_of(row, beside_of(row), {}, request.POST)

    def act() -> None:
        record_readings(
            visit=row,
            moment=moment,
            readings=sheet.inputs(),
            by=person,
            expected_revision=revision(request),
        )
        if request.POST.get("act") == "decide":
            _decide_too(request, row, moment)

    section = "test" if moment == Moment.BEFORE else "do"
    return write(
        request,
        row,
        key=moment,
        section=section,
        form=sheet,
        act=act,
        tell=sheet.tell,
        said="The readings are saved.",
        at="decide" if request.POST.get("act") == "decide" else section,
    )


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_governs(request: HttpRequest, pk: UUID, reading_pk: UUID) -> HttpResponse:
    row = find_visit(request, pk)
    reading = get_object_or_404(Reading.objects.select_related("visit"), pk=reading_pk, visit=row)
    return write(
        request,
        row,
        key="governs",
        section="test" if reading.moment == Moment.BEFORE else "do",
        form=None,
        act=lambda: choose_governing(
            reading=reading, by=signed_in(request), expected_revision=revision(request)
        ),
        said="This reading is judged from now on; the other stays on the record.",
    )


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_withdraw(request: HttpRequest, pk: UUID, moment: str) -> HttpResponse:
    """Take back one reading of a moment, with the reason."""
    row, at = find_visit(request, pk), _moment(moment)
    readings = list(row.readings.filter(moment=at).select_related("visit", "organisation"))
    form = WithdrawForm(request.POST, prefix=f"withdraw-{at}", readings=readings)

    def act() -> None:
        if not form.is_valid():
            raise ValidationError({})
        chosen = next(item for item in readings if str(item.pk) == form.cleaned_data["reading"])
        withdraw_reading(
            reading=chosen,
            reason=form.cleaned_data["reason"],
            by=signed_in(request),
            expected_revision=revision(request),
        )

    return write(
        request,
        row,
        key=f"withdraw-{at}",
        section="test" if at == Moment.BEFORE else "do",
        form=form,
        act=act,
        tell=lambda wrong: tell(form, wrong),
        said="The reading is taken back.",
        at=f"withdraw-{at}",
    )


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_decide(request: HttpRequest, pk: UUID, moment: str) -> HttpResponse:
    row, at = find_visit(request, pk), _moment(moment)
    return write(
        request,
        row,
        key="decide",
        section="decide",
        form=None,
        act=lambda: decide(visit=row, moment=at, by=signed_in(request), expected_revision=revision(request)),
    )


def _moment(given: str) -> str:
    if given not in Moment.values:
        raise Http404
    return given


def _decide_too(request: HttpRequest, visit: Visit, moment: str) -> None:
    """The readings stand, whatever becomes of the decision."""
    try:
        decide(visit=visit, moment=moment, by=signed_in(request))
    except Refused as refused:
        messages.warning(request, str(refused))
