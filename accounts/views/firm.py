"""The owner's page about the firm itself."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from accounts.access import page_for, signed_in
from accounts.firm import FIELDS, change_firm
from accounts.forms import FirmForm
from accounts.roles import Action


@page_for(Action.EDIT_FIRM)
@require_http_methods(["GET", "HEAD", "POST"])
def firm(request: HttpRequest) -> HttpResponse:
    owner = signed_in(request)
    stands = {field: getattr(owner.organisation, field) for field in FIELDS}
    form = FirmForm(request.POST or None, initial=stands, time_zone=stands["time_zone"])
    if request.method == "POST" and form.is_valid():
        try:
            change_firm(by=owner, **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, "The firm's details are saved.")
            return redirect("accounts:firm")
    context = {
        "form": form,
        "heading": "The firm",
        "lead": "This stands on records, notices and packs made from now on.",
        "submit": "Save",
        "cancel_url": reverse("accounts:people"),
    }
    return render(request, "accounts/firm.html", context)
