"""A post on the visit's page: done, or told why not, and what was typed kept either way."""

from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from accounts.access import signed_in
from service.visits.drafts import draft_of, drop_draft, save_draft
from service.visits.editing import AlreadySigned, Changed, Refused
from service.visits.models import Draft, Visit
from service.visits.visit_page import Typed, visit_page

# Never kept in a draft: what belongs to the post itself, and what is secret.
NOT_TYPED = ("csrfmiddlewaretoken", "revision", "section", "drop", "act", "sign-pin", "sign-owner_signature")


def typed_fields(request: HttpRequest) -> dict[str, Any]:
    """What a person typed in the posted form, as typed."""
    return {name: request.POST[name] for name in request.POST if name not in NOT_TYPED}


def revision(request: HttpRequest) -> int | None:
    """The revision of the visit that the person saw; None when the form did not say."""
    given = request.POST.get("revision", "")
    return int(given) if given.isdecimal() and len(given) < 10 else None


def write(
    request: HttpRequest,
    visit: Visit,
    *,
    key: str,
    section: str,
    form: Any,
    act: Callable[[], object],
    tell: Callable[[ValidationError], None] | None = None,
    said: str = "",
    at: str = "",
) -> HttpResponse:
    """Do it and go back to its place on the page; or show the page with the reasons beside the fields.

    key   The form's place on the page (``Typed.forms``). tell: puts a use case's reasons at its fields.
    said  What the page says when it is done. at: where the page opens then; the section when empty.
    """
    left = Typed(forms={key: form} if form is not None else {}, posted=typed_fields(request))
    try:
        act()
    except Changed as changed:
        left.changed = changed
    except Refused as refused:
        left.refused = str(refused)
    except ValidationError as wrong:
        if tell is None:
            left.refused = " ".join(wrong.messages)
        else:
            tell(wrong)
    else:
        forget(request, visit, section)
        if said:
            messages.success(request, said)
        return redirect(f"{reverse('visits:visit', args=[visit.pk])}#{at or section}")
    # A signed visit keeps no draft and neither does an endless text: the page still shows it.
    if left.posted:
        with suppress(AlreadySigned, ValidationError):
            keep(request, visit, section)
    return visit_page(request, visit, left)


def keep(request: HttpRequest, visit: Visit, section: str) -> Draft:
    """Add what was typed to the section's draft.

    Raises ValidationError (an unknown section, too long), AlreadySigned.
    """
    person = signed_in(request)
    old = draft_of(visit, person, section)
    own = _of_the_form(request, old)
    fields = {name: value for name, value in old.items() if name not in own} | typed_fields(request)
    return save_draft(visit=visit, section=section, fields=fields, by=person)


def forget(request: HttpRequest, visit: Visit, section: str) -> None:
    """Take the posted form's fields out of the section's draft; other forms of it keep theirs."""
    person = signed_in(request)
    draft = draft_of(visit, person, section)
    left = {name: value for name, value in draft.items() if name not in _of_the_form(request, draft)}
    if not draft:
        return
    if not left:
        drop_draft(visit=visit, section=section, by=person)
        return
    with suppress(AlreadySigned):
        save_draft(visit=visit, section=section, fields=left, by=person)


def _of_the_form(request: HttpRequest, draft: Mapping[str, Any]) -> set[str]:
    """Names in the draft that belong to the posted form, unticked boxes too."""
    begins = {name.rpartition("-")[0] for name in typed_fields(request)}
    return {name for name in draft if name.rpartition("-")[0] in begins}
