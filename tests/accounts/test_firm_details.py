"""The firm's own details, kept by its owner."""

from typing import Any

from django_scopes import scope

from accounts.models import AuditEvent, Organisation
from tests.personas import Firm

PAGE = "/people/firm/"
DETAILS = {
    "name": "Alderbrook Spa Care",
    "address": "The Old Mill\nAlderbrook",
    "phone": "",
    "email": "office@alderbrook.example",
    "time_zone": "Europe/Lisbon",
}


def _zone(firm: Firm) -> str:
    return Organisation.objects.get(pk=firm.organisation.pk).time_zone


def test_the_owner_changes_them_and_the_trail_says_which(firm: Firm, sign_in: Any) -> None:
    answer = sign_in(firm.owner).post(PAGE, DETAILS)

    assert answer.status_code == 302
    assert _zone(firm) == "Europe/Lisbon"
    with scope(organisation=firm.organisation):
        event = AuditEvent.objects.get(action="firm.details_changed")
    assert {"address", "time_zone"} <= set(event.detail["changed"])


def test_a_zone_that_is_none_is_told_at_the_field_and_nothing_is_lost(firm: Firm, sign_in: Any) -> None:
    before = _zone(firm)

    page = sign_in(firm.owner).post(PAGE, DETAILS | {"time_zone": "Europe/Nowhere"})

    assert page.status_code == 200
    assert page.context["form"].errors["time_zone"]
    assert "The Old Mill" in page.content.decode()
    assert _zone(firm) == before


def test_the_office_does_not_change_them(firm: Firm, sign_in: Any) -> None:
    before = _zone(firm)

    assert sign_in(firm.office).post(PAGE, DETAILS).status_code == 404
    assert _zone(firm) == before
