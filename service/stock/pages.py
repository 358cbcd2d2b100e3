"""What the pages of stock share: asking before archiving, and coming back."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from accounts.access import signed_in
from service.stock.models import Batch, Instrument, Product
from service.stock.register import archive, restore


def archive_page(
    request: HttpRequest, row: Product | Batch | Instrument, *, consequence: str, back: str
) -> HttpResponse:
    """Ask before taking ``row`` out of use, and do it."""
    if request.method == "POST":
        archive(row=row, by=signed_in(request))
        messages.success(request, f"{row} is archived.")
        return redirect(back)
    context = {
        "question": f"Archive {row}?",
        "consequence": consequence,
        "confirm": "Archive",
        "cancel_url": back,
    }
    return render(request, "shell/confirm.html", context)


def restore_and_return(request: HttpRequest, row: Product | Batch | Instrument, back: str) -> HttpResponse:
    restore(row=row, by=signed_in(request))
    messages.success(request, f"{row} is back in use.")
    return redirect(back)
