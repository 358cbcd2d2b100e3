"""Photos of a visit."""

from uuid import UUID

from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.visits.forms_work import PhotoForm, tell
from service.visits.models import Photo
from service.visits.photos import add_photo, remove_photo
from service.visits.posted import revision, write
from service.visits.visible import visible_visits
from service.visits.visit_page import find_visit


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_photo(request: HttpRequest, pk: UUID) -> HttpResponse:
    row, person = find_visit(request, pk), signed_in(request)
    form = PhotoForm(request.POST, request.FILES, prefix="photo")

    def act() -> None:
        if not form.is_valid():
            raise ValidationError({})
        given = form.cleaned_data
        add_photo(
            visit=row,
            upload=given["photo"],
            about=given["about"],
            caption=given["caption"],
            by=person,
            expected_revision=revision(request),
        )

    return write(
        request,
        row,
        key="photo",
        section="sign",
        form=form,
        act=act,
        tell=lambda wrong: tell(form, wrong),
        said="The photo is added.",
        at="photos",
    )


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_photo_remove(request: HttpRequest, pk: UUID, photo_pk: UUID) -> HttpResponse:
    row = find_visit(request, pk)
    photo = get_object_or_404(Photo.objects.select_related("visit"), pk=photo_pk, visit=row)
    return write(
        request,
        row,
        key="photo_remove",
        section="sign",
        form=None,
        act=lambda: remove_photo(photo=photo, by=signed_in(request), expected_revision=revision(request)),
        said="The photo is removed.",
        at="photos",
    )


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
@cache_control(private=True, max_age=3600)
def photo_file(request: HttpRequest, pk: UUID, photo_pk: UUID) -> HttpResponse:
    """The picture. Its type is fixed and sniffing refused, so that it is never taken for a page."""
    visits = visible_visits(signed_in(request)).filter(pk=pk)
    photo = get_object_or_404(Photo.objects.filter(visit__in=visits.values("pk")), pk=photo_pk)
    try:
        with photo.file.open("rb") as file:
            content = file.read()
    except FileNotFoundError as gone:
        raise Http404 from gone
    return HttpResponse(
        content,
        content_type="image/jpeg",
        headers={
            "Content-Disposition": 'inline; filename="visit.jpg"',
            "Content-Security-Policy": "sandbox; default-src 'none'",
            "X-Content-Type-Options": "nosniff",
        },
    )
