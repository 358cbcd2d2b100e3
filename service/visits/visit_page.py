"""Everything the visit's page shows, gathered once, each form as saved, as drafted or as just posted."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django import forms
from django.db.models import FilteredRelation, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from accounts.access import signed_in
from accounts.models import Person
from accounts.roles import Action, Role
from service.stock.models import Batch, Instrument
from service.visits import forms_work, step_words
from service.visits.bands import bands_of, short
from service.visits.changes import drain_planned, last_change
from service.visits.decide import LABEL_FIRST, is_current, standing_decision
from service.visits.drafts import drafts_of, unsaved_of
from service.visits.editing import Changed
from service.visits.fitness import fitness_with
from service.visits.forms_look import look_sheet, typed_over
from service.visits.forms_test import Beside, WithdrawForm, reading_sheet
from service.visits.models import (
    Closure,
    Decision,
    Moment,
    Reading,
    StepState,
    TaskState,
    TreatmentStep,
    Visit,
    VisitState,
)
from service.visits.offered import Offered, offered
from service.visits.open import ENDINGS
from service.visits.parameters import BY_PARAMETER
from service.visits.readings import conversion_remark, instrument_remark, previous_readings
from service.visits.stops import stops_of_day
from service.visits.tasks import DueTask, due_tasks, other_jobs
from service.visits.treatment import expected_water, standing_steps
from service.visits.verdict import case_of, verdict_of
from service.visits.visible import visible_visits
from service.visits.whole import gathered

LOADED = ("spa__site__client", "spa__organisation", "organisation", "technician")
CODES = ("spa__site__access_code", "spa__site__access_notes")
SECTIONS = (("look", "Look"), ("test", "Test"), ("decide", "Decide"), ("do", "Do"), ("sign", "Sign"))


@dataclass
class Typed:
    """What a refused post leaves for the page: the forms that hold it, and why it was not done.

    forms  Form or sheet by its key on the page: "look", "before", "after", "step-12", "task-cover".
    """

    forms: dict[str, Any] = field(default_factory=dict)
    posted: Mapping[str, Any] | None = None
    changed: Changed | None = None
    refused: str = ""

    @property
    def errors(self) -> list[tuple[Any, str]]:
        """Each reason with its field, for the links at the top of the page."""
        every = [one for form in self.forms.values() for one in getattr(form, "forms", [form])]
        return [(bound, str(error)) for one in every for bound in one for error in bound.errors]


@dataclass(frozen=True)
class StepOnPage:
    """One step: in words, with its form, and whether its turn has come."""

    step: TreatmentStep
    headline: str
    form: forms.Form
    is_turn: bool
    is_waiting: bool
    remark: str


@dataclass(frozen=True)
class TaskOnPage:
    """One job: due, taken on or settled, with its form."""

    due: DueTask
    form: forms.Form
    is_taken_on: bool


def find_visit(request: HttpRequest, pk: UUID) -> Visit:
    """The visit if the person may see it, else 404. The site's gate codes are not read."""
    return get_object_or_404(_visits(signed_in(request)), pk=pk)


def _visits(person: Person) -> QuerySet[Visit]:
    """Visits with what stands above them and, as ``open_closure``, what keeps their spa closed."""
    standing = FilteredRelation("spa__closures", condition=Q(spa__closures__reopened_at=None))
    rows: Any = visible_visits(person).annotate(open_closure=standing)
    found: QuerySet[Visit] = rows.select_related(*LOADED, "open_closure").defer(*CODES)
    return found


def visit_page(request: HttpRequest, visit: Visit, typed: Typed | None = None) -> HttpResponse:
    """The page of a visit that ``find_visit`` found; what was typed and not saved stands where it was."""
    person = signed_in(request)
    # After a post that was refused, the page shows the visit as it stands now.
    fresh = gathered(visit if typed is None else _visits(person).get(pk=visit.pk))
    typed, now = typed or Typed(), timezone.now()
    # The join leaves the attribute away where it finds nothing.
    closure: Closure | None = getattr(fresh, "open_closure", None)
    closures = {fresh.spa_id: closure} if closure else {}
    context = {
        "visit": fresh,
        "spa": fresh.spa,
        "now": now,
        "typed": typed,
        "fitness": fitness_with([fresh.spa], closures, now)[fresh.spa_id],
        "label_first": LABEL_FIRST,
    }
    if fresh.state == VisitState.SIGNED:
        return render(request, "visits/signed.html", context | _signed(fresh, person))
    if fresh.state != VisitState.ON_SITE:
        return render(request, "visits/not_begun.html", context | _not_begun(fresh, typed))
    drafts = drafts_of(fresh, person)
    products = {step.product_id for step in fresh.steps.all() if step.product_id}
    choices = offered(who_could_take_over(fresh), products)
    verdict = verdict_of(case_of(fresh, now, closure=closure), unsaved_of(drafts))
    context |= {"sections": SECTIONS, "drafts": drafts, "verdict": verdict}
    context |= _look_and_test(fresh, typed, drafts, choices)
    context |= _decide_and_do(fresh, typed, drafts, choices, now)
    return render(request, "visits/visit.html", context | _sign(fresh, typed, drafts, choices))


def _look_and_test(
    visit: Visit, typed: Typed, drafts: Mapping[str, Mapping[str, Any]], choices: Offered
) -> dict[str, Any]:
    beside = Beside(
        instruments=choices.instruments,
        bands=bands_of(visit.spa),
        previous=previous_readings(visit.spa, visit),
        expected=expected_water(visit) or {},
    )
    remarks = {(instrument_remark(item), conversion_remark(item)) for item in visit.readings.all()}
    return {
        "look": typed.forms.get("look") or look_sheet(visit, drafts.get("look", {})),
        "beside": beside,
        "before": typed.forms.get("before") or before_sheet(visit, beside, drafts.get("test", {})),
        "after": typed.forms.get("after") or after_sheet(visit, beside, drafts.get("do", {})),
        "withdrawals": {moment: _withdrawal(visit, moment, typed) for moment in Moment.values},
        "remarks": sorted({words for pair in remarks for words in pair if words}),
    }


def _withdrawal(visit: Visit, moment: str, typed: Typed) -> dict[str, Any]:
    """Taking a reading of the moment back: the form, and what was taken back already."""
    readings = [item for item in visit.readings.all() if item.moment == moment]
    prefix = f"withdraw-{moment}"
    return {
        "id": prefix,
        "form": typed.forms.get(prefix) or WithdrawForm(prefix=prefix, readings=readings),
        "moment": moment,
        "any": bool(readings),
        "gone": [
            (BY_PARAMETER[item.parameter].label, item)
            for item in visit.withdrawn_readings.all()
            if item.moment == moment
        ],
    }


def beside_of(visit: Visit) -> Beside:
    """What the sheets need when a post is read: the instruments that may be chosen."""
    return Beside(list(Instrument.objects.filter(archived_at=None)), bands_of(visit.spa), {}, {})


def before_sheet(visit: Visit, beside: Beside, draft: Mapping[str, Any], posted: Any = None) -> Any:
    standing = [item for item in visit.readings.all() if item.governs and item.moment == Moment.BEFORE]
    return reading_sheet(visit, Moment.BEFORE, standing, beside, draft, posted)


def after_sheet(visit: Visit, beside: Beside, draft: Mapping[str, Any], posted: Any = None) -> Any:
    """The second readings; one from before the last dose is not a reading of this water any more."""
    return reading_sheet(visit, Moment.AFTER, _after(visit), beside, draft, posted)


def _after(visit: Visit) -> list[Reading]:
    change = last_change(visit)
    after = [item for item in visit.readings.all() if item.governs and item.moment == Moment.AFTER]
    return [item for item in after if change is None or item.taken_at > change]


def _decide_and_do(
    visit: Visit,
    typed: Typed,
    drafts: Mapping[str, Mapping[str, Any]],
    choices: Offered,
    now: datetime,
) -> dict[str, Any]:
    decision, steps, draft = standing_decision(visit), standing_steps(visit), drafts.get("do", {})
    on_page = _steps(visit, steps, choices.batches, decision, typed, draft, now)
    tasks = [_task(visit, due, typed, draft) for due in due_tasks(visit)]
    waits = [item for item in on_page if item.is_waiting]
    changed = last_change(visit) is not None
    return {
        "decision": decision,
        "decision_is_current": decision is not None and is_current(decision, visit),
        "verdict_sentence": step_words.verdict_sentence(decision) if decision else "",
        "cautions": step_words.cautions(decision) if decision else [],
        "expected": step_words.expected_lines(decision, expected_water(visit)) if decision else [],
        "plan": [item for item in on_page if decision and item.step.decision_id == decision.pk],
        "steps": on_page,
        "waits": waits,
        "last_wait": max(waits, key=_until, default=None),
        "tasks": tasks,
        "other_jobs": other_jobs(item.due for item in tasks),
        "open_tasks": [item for item in tasks if not item.due.is_settled],
        "drain_planned": drain_planned(visit),
        "retest_is_due": any(item.is_turn and item.step.action == "retest" for item in on_page),
        "water_changed": changed,
        "has_readings": any(item.moment == Moment.BEFORE for item in visit.readings.all()),
        "has_after": bool(_after(visit)),
        "own": typed.forms.get("own")
        or forms_work.OwnDoseForm(
            prefix="own", initial=typed_over({}, draft, "own"), visit=visit, products=choices.products
        ),
    }


def _until(item: StepOnPage) -> datetime:
    assert item.step.wait_until is not None
    return item.step.wait_until


def _steps(
    visit: Visit,
    steps: Iterable[TreatmentStep],
    batches: Mapping[UUID, list[Batch]],
    decision: Decision | None,
    typed: Typed,
    draft: Mapping[str, Any],
    now: datetime,
) -> list[StepOnPage]:
    listed = list(steps)
    open_steps = [step for step in listed if step.state == StepState.PLANNED]
    turn = open_steps[0].pk if open_steps else None
    return [
        StepOnPage(
            step=step,
            headline=step_words.headline(step),
            form=typed.forms.get(f"step-{step.pk}") or step_form(visit, step, _of(step, batches), draft),
            is_turn=step.pk == turn,
            is_waiting=bool(step.wait_until and step.state == StepState.DONE and step.wait_until > now),
            remark="" if decision and step.decision_id == decision.pk else "Of an earlier decision.",
        )
        for step in listed
    ]


def step_form(
    visit: Visit,
    step: TreatmentStep,
    batches: Iterable[Batch],
    draft: Mapping[str, Any],
    posted: Any = None,
) -> forms.Form:
    """The form of one step: the amount planned until another is typed."""
    mass = step.actual_mass_g if step.actual_mass_g is not None else step.planned_mass_g
    saved = {
        "actual_mass_g": "" if mass is None else f"{short(mass):f}",
        "batch": step.batch_id or "",
        "reason": step.reason,
    }
    prefix = f"step-{step.pk}"
    return forms_work.StepForm(
        posted,
        prefix=prefix,
        initial=typed_over(saved, draft, prefix),
        visit=visit,
        step=step,
        batches=batches,
    )


def _of(step: TreatmentStep, batches: Mapping[UUID, list[Batch]]) -> list[Batch]:
    return batches.get(step.product_id, []) if step.product_id else []


def _task(visit: Visit, due: DueTask, typed: Typed, draft: Mapping[str, Any]) -> TaskOnPage:
    prefix = f"task-{due.kind}"
    saved = {"note": due.task.note if due.task else ""}
    form = typed.forms.get(prefix) or forms_work.TaskForm(
        prefix=prefix, initial=typed_over(saved, draft, prefix), visit=visit
    )
    return TaskOnPage(due, form, due.task is not None and due.task.state == TaskState.DUE)


def _sign(
    visit: Visit, typed: Typed, drafts: Mapping[str, Mapping[str, Any]], choices: Offered
) -> dict[str, Any]:
    saved = {"note_to_owner": visit.note_to_owner, "retest_by": visit.retest_by}
    initial = typed_over(saved, drafts.get("sign", {}), "sign")
    return {
        "photos": visit.photos.all(),
        "photo_form": typed.forms.get("photo") or forms_work.PhotoForm(prefix="photo"),
        "close_form": typed.forms.get("close") or forms_work.ReasonForm(prefix="close"),
        "sign_form": typed.forms.get("sign")
        or forms_work.SignForm(prefix="sign", initial=initial, organisation=visit.organisation),
        **_ways_out(visit, choices.people, typed),
    }


def _ways_out(visit: Visit, others: list[Person], typed: Typed) -> dict[str, Any]:
    return {
        "end_form": typed.forms.get("end") or forms_work.EndForm(prefix="end", visit=visit),
        "may_end": bool(ENDINGS.get(visit.state)),
        "hand_form": typed.forms.get("hand") or forms_work.HandOverForm(prefix="hand", people=others),
        "may_hand_over": bool(others),
    }


def who_could_take_over(visit: Visit) -> QuerySet[Person]:
    """Who could take the visit over, by name."""
    people = Person.objects.filter(
        organisation=visit.organisation_id,
        is_active=True,
        role_grants__role__in=[Role.TECHNICIAN, Role.OFFICE, Role.OWNER],
    )
    return people.exclude(visits=visit).distinct().order_by("name")


def _not_begun(visit: Visit, typed: Typed) -> dict[str, Any]:
    return {"may_start": visit.is_open, **_ways_out(visit, list(who_could_take_over(visit)), typed)}


def _signed(visit: Visit, person: Person) -> dict[str, Any]:
    stops = stops_of_day(person, visit.planned_on)
    return {
        "record": getattr(visit, "record", None),
        "may_download": person.may(Action.DOWNLOAD_RECORDS),
        "next_stop": next((stop for stop in stops if not stop.is_done), None),
        "readings": [step_words.reading_line(item) for item in visit.readings.all() if item.governs],
    }
