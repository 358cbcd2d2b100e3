"""The way from an empty firm to its first week."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from accounts.access import page_for, signed_in
from accounts.roles import Action
from service.office.setting_up import setting_up as steps_of


@page_for(Action.PLAN_VISITS)
@require_safe
def setting_up(request: HttpRequest) -> HttpResponse:
    """Every step, done or not, and the next one's page."""
    return render(request, "office/setting_up.html", {"standing": steps_of(by=signed_in(request))})
