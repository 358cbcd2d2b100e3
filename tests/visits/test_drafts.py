"""What was typed and not saved is not lost, and stays with who typed it."""

import pytest
from django.core.exceptions import ValidationError

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.visits.drafts import draft_of, drop_draft, save_draft, unsaved_sections
from service.visits.editing import AlreadySigned
from service.visits.models import Draft
from tests.personas import Firm
from tests.visits.working import fresh, ready, sign, signed, started


def test_the_newest_draft_of_a_section_is_kept_as_typed(in_firm: Firm) -> None:
    visit = started(in_firm)
    save_draft(visit=visit, section="test", fields={"ph": "7,"}, by=in_firm.technician)
    save_draft(visit=visit, section="test", fields={"ph": "7,4x"}, by=in_firm.technician)

    assert draft_of(visit, in_firm.technician, "test") == {"ph": "7,4x"}
    assert draft_of(visit, in_firm.owner, "test") == {}
    assert Draft.objects.count() == 1


def test_a_draft_is_no_change_of_the_visit(in_firm: Firm) -> None:
    visit = started(in_firm)
    events = AuditEvent.objects.count()

    save_draft(visit=visit, section="look", fields={"clarity": "no"}, by=in_firm.technician)

    assert fresh(visit).revision == visit.revision
    assert AuditEvent.objects.count() == events


def test_what_is_unsaved_is_listed_in_the_order_of_the_page(in_firm: Firm) -> None:
    visit = started(in_firm)
    for section in ("sign", "do", "look"):
        save_draft(visit=visit, section=section, fields={"a": "b"}, by=in_firm.technician)
    save_draft(visit=visit, section="test", fields={}, by=in_firm.technician)

    assert unsaved_sections(visit, in_firm.technician) == ["look", "do"]

    drop_draft(visit=visit, section="look", by=in_firm.technician)
    assert unsaved_sections(visit, in_firm.technician) == ["do"]


def test_drafts_have_limits(in_firm: Firm, stranger: Firm) -> None:
    visit = started(in_firm)

    with pytest.raises(ValidationError, match="not known"):
        save_draft(visit=visit, section="elsewhere", fields={}, by=in_firm.technician)
    with pytest.raises(ValidationError, match="At most 50000 characters"):
        save_draft(visit=visit, section="look", fields={"a": "x" * 50_000}, by=in_firm.technician)
    for person in (stranger.technician, in_firm.rental_manager):
        with pytest.raises(NotAllowed):
            save_draft(visit=visit, section="look", fields={}, by=person)


def test_signing_drops_every_draft_and_none_comes_after(in_firm: Firm) -> None:
    visit = ready(in_firm)
    save_draft(visit=visit, section="sign", fields={"note": "All w"}, by=in_firm.technician)
    sign(in_firm, visit)

    assert not Draft.objects.exists()
    with pytest.raises(AlreadySigned):
        save_draft(visit=signed(in_firm), section="look", fields={}, by=in_firm.technician)
