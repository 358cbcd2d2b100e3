"""Defects: seen by those who may, graded, consented to, settled once."""

from datetime import date

import pytest
from django.core.exceptions import ValidationError

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.visits.defects import (
    grade_defect,
    open_dangers,
    record_consent,
    settle_defect,
    visible_defects,
)
from service.visits.editing import Refused
from service.visits.models import Consent, Defect, Severity, WhoPays
from tests.factories import SpaFactory
from tests.personas import Firm
from tests.visits.working import inspect, started


@pytest.fixture
def defect(in_firm: Firm) -> Defect:
    inspect(in_firm, started(in_firm), suction_cover="Left one loose")
    return Defect.objects.get()


def test_a_defect_is_settled_once_with_how(in_firm: Firm, defect: Defect) -> None:
    with pytest.raises(ValidationError, match="Say how"):
        settle_defect(defect=defect, note="", by=in_firm.office)
    settled = settle_defect(defect=defect, note="New cover fitted", by=in_firm.office)

    assert (settled.closing_note, settled.closed_by) == ("New cover fitted", in_firm.office)
    assert open_dangers(in_firm.spa) == []
    assert AuditEvent.objects.filter(action="defect.settled").count() == 1
    with pytest.raises(Refused, match="settled already"):
        settle_defect(defect=defect, note="Again", by=in_firm.office)


def test_the_owners_answer_and_who_pays_are_kept(in_firm: Firm, defect: Defect) -> None:
    record_consent(defect=defect, consent=Consent.GIVEN, who_pays=WhoPays.OWNER, by=in_firm.office)

    defect.refresh_from_db()
    assert (defect.consent, defect.who_pays) == (Consent.GIVEN, WhoPays.OWNER)
    with pytest.raises(ValidationError, match="owner's answer"):
        record_consent(defect=defect, consent="perhaps", who_pays=WhoPays.OWNER, by=in_firm.office)
    with pytest.raises(ValidationError, match="who pays"):
        record_consent(defect=defect, consent=Consent.GIVEN, who_pays="nobody", by=in_firm.office)


def test_what_closes_a_spa_is_not_called_less(in_firm: Firm, defect: Defect) -> None:
    with pytest.raises(ValidationError, match="This closes the spa"):
        grade_defect(defect=defect, severity=Severity.MINOR, due_on=None, by=in_firm.office)

    graded = grade_defect(defect=defect, severity=Severity.DANGER, due_on=date(2026, 6, 5), by=in_firm.office)
    assert graded.due_on == date(2026, 6, 5)


def test_technicians_managers_and_strangers_settle_nothing(
    in_firm: Firm, stranger: Firm, defect: Defect
) -> None:
    for person in (in_firm.technician, in_firm.rental_manager, stranger.office):
        with pytest.raises(NotAllowed):
            settle_defect(defect=defect, note="Done", by=person)


def test_a_rental_manager_sees_the_defects_of_their_own_tubs_only(in_firm: Firm, defect: Defect) -> None:
    inspect(in_firm, started(in_firm, SpaFactory(site=in_firm.hidden_site)), cover="Torn")

    assert list(visible_defects(in_firm.rental_manager)) == [defect]
    assert visible_defects(in_firm.office).count() == 2
