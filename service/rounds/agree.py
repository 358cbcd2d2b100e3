"""Making, changing and ending agreements. What was planned, done or signed under them stays as it is."""

from collections.abc import Collection, Iterable
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action
from service.rounds.models import Agreement, AgreementSkill, BarredTechnician, Skill
from service.rounds.words import say_day
from service.sites.archive import why_not_in_use
from service.sites.models import Spa
from service.sites.saving import add_row, change_row, link_only

FIGURES = ("frequency", "times_a_week", "every_weeks", "weekdays_allowed", "minutes_on_site", "optional")


@transaction.atomic
def add_agreement(
    *,
    spa: Spa,
    by: Person,
    skills: Iterable[Skill] = (),
    not_with: Iterable[Person] = (),
    **fields: Any,
) -> Agreement:
    """A new agreement for ``spa``. ``fields``: values of Agreement's own fields.

    Raises NotAllowed; ValidationError by field, or that the spa is archived.
    """
    require(by, Action.PLAN_VISITS)
    if reason := why_not_in_use(spa):
        raise ValidationError(f"{reason} Bring it back into use first.", code="archived")
    barred = list(not_with)
    refuse_contradiction(fields.get("preferred"), barred)
    agreement = Agreement(organisation=by.organisation, spa=spa, **fields)
    add_row(agreement, action="agreement.added", by=by)
    _set_skills(agreement, skills)
    _set_barred(agreement, barred)
    return agreement


@transaction.atomic
def change_agreement(
    *,
    agreement: Agreement,
    by: Person,
    skills: Iterable[Skill] | None = None,
    not_with: Iterable[Person] | None = None,
    **fields: Any,
) -> Agreement:
    """New values of an agreement; visits that are planned or signed stay, later weeks follow it.

    skills, not_with  None: as they are. Raises NotAllowed; ValidationError by field.
    """
    require(by, Action.PLAN_VISITS)
    barred = list(agreement.not_with.all()) if not_with is None else list(not_with)
    refuse_contradiction(fields.get("preferred", agreement.preferred), barred)
    changed = change_row(agreement, fields, action="agreement.changed", by=by, figures=FIGURES)
    others = []
    if skills is not None and _set_skills(changed, skills):
        others.append("skills")
    if not_with is not None and _set_barred(changed, barred):
        others.append("not_with")
    if others:
        record_event(action="agreement.changed", subject=changed, by=by, detail={"changed": others})
    return changed


@transaction.atomic
def end_agreement(*, agreement: Agreement, last_day: date, by: Person) -> Agreement:
    """Let an agreement promise no visits after ``last_day``. Those already planned stay in the plan.

    Raises NotAllowed; ValidationError when the day lies before its first.
    """
    require(by, Action.PLAN_VISITS)
    if last_day < agreement.starts_on:
        first = f"{say_day(agreement.starts_on)} {agreement.starts_on.year}"
        raise ValidationError({"ends_on": f"It cannot end before its first day, {first}."})
    return change_row(agreement, {"ends_on": last_day}, action="agreement.ended", by=by, figures=("ends_on",))


@transaction.atomic
def add_skill(*, name: str, by: Person) -> Skill:
    """A new skill. Raises NotAllowed; ValidationError by field, also when the name is taken."""
    require(by, Action.PLAN_VISITS)
    skill = Skill(organisation=by.organisation, name=" ".join(name.split()))
    return add_row(skill, action="skill.added", by=by, only_one={"name": ()})


def refuse_contradiction(preferred: Person | None, barred: Collection[Person]) -> None:
    """Nobody is preferred and kept away at once. Raises ValidationError at ``not_with``."""
    if preferred is not None and preferred in barred:
        raise ValidationError({"not_with": f"{preferred.name} is preferred and cannot be kept away too."})


def _set_skills(agreement: Agreement, skills: Iterable[Skill]) -> bool:
    """Make these the skills it needs. Returns whether anything changed."""
    return link_only(AgreementSkill, {"agreement": agreement}, to="skill", wanted=skills)


def _set_barred(agreement: Agreement, people: Iterable[Person]) -> bool:
    """Make these the people who are kept away. Returns whether anything changed."""
    return link_only(BarredTechnician, {"agreement": agreement}, to="person", wanted=people)
