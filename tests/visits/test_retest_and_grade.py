"""What the office does after a closure or a defect: plan the retest, grade the defect."""

from datetime import timedelta
from typing import Any

from django.urls import reverse
from django.utils import timezone

from service.visits.models import Closure, Defect, Severity, VisitKind
from tests.factories import VisitFactory
from tests.personas import Firm


def _closed(firm: Firm) -> Closure:
    visit = VisitFactory(spa=firm.spa, technician=firm.technician)
    return Closure.objects.create(
        organisation=firm.organisation,
        spa=firm.spa,
        visit=visit,
        reason="Cloudy water",
        closed_by=firm.technician,
    )


def _defect(firm: Firm) -> Defect:
    return Defect.objects.create(
        organisation=firm.organisation, spa=firm.spa, description="Cover torn", found_by=firm.technician
    )


def test_a_retest_planned_from_a_closure_says_what_for(in_firm: Firm, sign_in: Any) -> None:
    _closed(in_firm)
    office = sign_in(in_firm.office)
    assert f"?spa={in_firm.spa.pk}&kind=retest" in office.get(reverse("visits:closures")).content.decode()

    page = office.get(reverse("visits:plan_new"), {"spa": in_firm.spa.pk, "kind": "retest"})

    form = page.context["form"]
    assert form["kind"].value() == VisitKind.RETEST
    assert form["spas"].value() == [in_firm.spa.pk]
    assert form["instructions"].value() == "Test again. Closed: Cloudy water"


def test_the_office_says_how_grave_a_defect_is_and_by_when_it_is_mended(in_firm: Firm, sign_in: Any) -> None:
    defect = _defect(in_firm)
    severity = Severity.MINOR
    due = timezone.localdate() + timedelta(days=9)

    sign_in(in_firm.office).post(
        reverse("visits:defect", args=[defect.pk]), _grade(severity=severity, due_on=due.isoformat())
    )

    defect.refresh_from_db()
    assert (defect.severity, defect.due_on) == (severity, due)


def test_a_defect_is_not_mended_before_it_was_found(in_firm: Firm, sign_in: Any) -> None:
    defect = _defect(in_firm)
    early = timezone.localdate() - timedelta(days=400)
    severity = defect.severity

    page = sign_in(in_firm.office).post(
        reverse("visits:defect", args=[defect.pk]), _grade(severity=severity, due_on=early.isoformat())
    )

    defect.refresh_from_db()
    assert page.status_code == 200
    assert defect.due_on is None


def _grade(**values: Any) -> dict[str, Any]:
    return {"act": "grade", **{f"grade-{name}": value for name, value in values.items()}}
