"""Posts of Sign: closing the spa by hand, signing the visit."""

import base64
import binascii
from uuid import UUID

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.visits.closures import close_spa
from service.visits.forms_work import ReasonForm, SignForm, tell
from service.visits.posted import revision, write
from service.visits.sign import sign_visit
from service.visits.visit_page import find_visit

PNG = "data:image/png;base64,"


@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_close(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Close the spa by hand, whatever was read."""
    row, person = find_visit(request, pk), signed_in(request)
    form = ReasonForm(request.POST, prefix="close")
    form.is_valid()
    return write(
        request,
        row,
        key="close",
        section="sign",
        form=form,
        act=lambda: close_spa(spa=row.spa, reason=form.cleaned_data.get("reason", ""), by=person, visit=row),
        tell=lambda wrong: tell(form, wrong),
        said=f"{row.spa} is closed. It reopens by a test that meets the guideline.",
    )


@sensitive_post_parameters("sign-pin")
@page_for(Action.CARRY_OUT_VISITS)
@require_POST
def visit_sign(request: HttpRequest, pk: UUID) -> HttpResponse:
    row, person = find_visit(request, pk), signed_in(request)
    form = SignForm(request.POST, prefix="sign", organisation=row.organisation)

    def act() -> None:
        if not form.is_valid():
            raise ValidationError({})
        given = form.cleaned_data
        sign_visit(
            visit=row,
            pin=given["pin"],
            by=person,
            # Without the revision that was seen nothing can be signed: none is -1.
            expected_revision=-1 if (seen := revision(request)) is None else seen,
            owner_signature=_drawn(given["owner_signature"]),
            retest_by=given["retest_by"],
            retest_due=given["retest_due"],
            note_to_owner=given["note_to_owner"],
            closed=given["closed"],
        )

    return write(
        request,
        row,
        key="sign",
        section="sign",
        form=form,
        act=act,
        tell=lambda wrong: tell(form, wrong),
        said="Signed.",
        at="content",
    )


def _drawn(given: str) -> bytes | None:
    """The drawing of the page's canvas, a PNG as a data address; None when nobody drew."""
    if not given:
        return None
    try:
        return base64.b64decode(given.removeprefix(PNG), validate=True)
    except binascii.Error as wrong:
        raise ValidationError({"owner_signature": "The signature cannot be read. Draw it again."}) from wrong
