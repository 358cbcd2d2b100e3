"""Photos of a spa: the page that keeps them and the pictures themselves."""

from copy import copy
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_http_methods, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.sites.forms import CaptionForm, PhotoForm, done_or_told
from service.sites.models import Spa, SpaPhoto
from service.sites.pages import Step, form_page, trail, url_of
from service.sites.photos import PHOTOS_PER_SPA, add_spa_photo, caption_spa_photo, remove_spa_photo
from service.sites.visible import visible_spas


def _spa(person: Person, pk: UUID) -> Spa:
    return get_object_or_404(visible_spas(person).select_related("site__client__organisation"), pk=pk)


def _photo(person: Person, pk: UUID, photo_pk: UUID) -> SpaPhoto:
    photos = SpaPhoto.objects.filter(spa__in=visible_spas(person)).select_related("spa__site__client")
    return get_object_or_404(photos, pk=photo_pk, spa=pk)


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def spa_photos(request: HttpRequest, pk: UUID) -> HttpResponse:
    spa = _spa(signed_in(request), pk)
    form = PhotoForm(request.POST or None, request.FILES or None)
    if form.is_valid() and done_or_told(form, lambda: _add(spa, form, signed_in(request))) is not None:
        messages.success(request, "The photo is added.")
        return redirect(url_of(spa, "photos"))
    context = {
        "spa": spa,
        "trail": trail(spa),
        "form": form,
        "photos": spa.photos.all(),
        "most": PHOTOS_PER_SPA,
    }
    return render(request, "sites/spa_photos.html", context)


def _add(spa: Spa, form: PhotoForm, by: Person) -> SpaPhoto:
    given = form.cleaned_data
    return add_spa_photo(spa=spa, upload=given["upload"], caption=given["caption"], by=by)


@page_for(Action.SEE_FIRM, Action.SEE_OWN_CLIENTS)
@require_safe
@cache_control(private=True, max_age=3600)
def spa_photo(request: HttpRequest, pk: UUID, photo_pk: UUID) -> HttpResponse:
    """The picture. Its type is fixed and sniffing refused, so that it is never taken for a page."""
    photo = _photo(signed_in(request), pk, photo_pk)
    try:
        with photo.file.open("rb") as file:
            content = file.read()
    except FileNotFoundError as gone:
        raise Http404 from gone
    return HttpResponse(
        content,
        content_type="image/jpeg",
        headers={
            "Content-Disposition": 'inline; filename="spa.jpg"',
            "Content-Security-Policy": "sandbox; default-src 'none'",
            "X-Content-Type-Options": "nosniff",
        },
    )


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def spa_photo_caption(request: HttpRequest, pk: UUID, photo_pk: UUID) -> HttpResponse:
    photo = _photo(signed_in(request), pk, photo_pk)
    form = CaptionForm(request.POST or None, instance=copy(photo))
    if form.is_valid():
        caption = form.cleaned_data["caption"]
        if done_or_told(form, lambda: caption_spa_photo(photo=photo, caption=caption, by=signed_in(request))):
            messages.success(request, "The caption is saved.")
            return redirect(url_of(photo.spa, "photos"))
    return form_page(
        request,
        form,
        heading="Caption of a photo",
        submit="Save",
        back=url_of(photo.spa, "photos"),
        steps=[*trail(photo.spa), Step("Photos", url_of(photo.spa, "photos"))],
    )


@page_for(Action.EDIT_SITES)
@require_http_methods(["GET", "POST"])
def spa_photo_remove(request: HttpRequest, pk: UUID, photo_pk: UUID) -> HttpResponse:
    photo = _photo(signed_in(request), pk, photo_pk)
    back = url_of(photo.spa, "photos")
    if request.method == "POST":
        remove_spa_photo(photo=photo, by=signed_in(request))
        messages.success(request, "The photo is removed.")
        return redirect(back)
    context = {
        "question": f"Remove the photo{f' “{photo.caption}”' if photo.caption else ''} of {photo.spa}?",
        "consequence": "The picture is deleted for good.",
        "confirm": "Remove",
        "cancel_url": back,
    }
    return render(request, "shell/confirm.html", context)
