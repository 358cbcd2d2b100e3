"""What can be changed on many rows at once: each change goes through the use case of one row."""

from collections.abc import Callable, Mapping
from typing import Any

from django import forms

from accounts.models import Person
from accounts.roles import Action
from service.chemistry.guidelines import available
from service.office.bulk_agreements import AGREEMENTS
from service.office.change import Change, choice
from service.shell.days import DayField
from service.sites.archive import archive, restore
from service.sites.forms import SpaForm
from service.sites.guideline import choose_guideline, known
from service.sites.models import ClientKind, Feeder
from service.sites.register import change_client, change_spa
from service.visits.forms_plan import ReasonForm, who_carries_out_visits
from service.visits.plan import cancel_visit, change_plan

AS_ABOVE = "As the level above"


def _guideline_title(guideline_id: str) -> str:
    guideline = known(guideline_id) if guideline_id else None
    return guideline.title if guideline else guideline_id or AS_ABOVE


def _guideline_field(_: Person) -> forms.Field:
    sets = [(one.id, one.title) for one in available(portable=True)]
    return forms.ChoiceField(label="Guideline", choices=[("", AS_ABOVE), *sets], required=False)


def _temperature_field(_: Person) -> forms.Field:
    return SpaForm.base_fields["set_temperature_c"]


def _technician_field(by: Person) -> forms.Field:
    return forms.ModelChoiceField(
        label="Technician", queryset=who_carries_out_visits(by), required=False, empty_label="Nobody yet"
    )


def _reason_field(_: Person) -> forms.Field:
    return ReasonForm.base_fields["reason"]


def _archived(row: Any) -> str:
    return "archived" if row.archived_at else "in use"


def _plan(**fields: Any) -> Callable[[Any, Any, Person], Any]:
    """Changes one field of a planned visit, named by the only keyword."""
    (name,) = fields
    return lambda row, value, by: change_plan(
        visit=row, by=by, expected_revision=row.revision, **{name: value}
    )


GUIDELINE = Change(
    "guideline",
    "Guideline",
    now=lambda row: _guideline_title(row.guideline_id),
    act=lambda row, value, by: choose_guideline(place=row, guideline_id=value, by=by),
    field=_guideline_field,
    said=_guideline_title,
)
ARCHIVE = Change(
    "archive",
    "Archive",
    now=_archived,
    act=lambda row, _, by: archive(place=row, by=by),
    said=lambda _: "archived",
)
RESTORE = Change(
    "restore",
    "Bring back into use",
    now=_archived,
    act=lambda row, _, by: restore(place=row, by=by),
    said=lambda _: "in use",
)


def _day(day: Any) -> str:
    return f"{day:%A} {day.day} {day:%B %Y}"


def _degrees(value: Any) -> str:
    return "not set" if value is None else f"{value.normalize():f} °C"


CHANGES: Mapping[str, tuple[Change, ...]] = {
    "clients": (
        Change(
            "kind",
            "Kind of client",
            now=lambda row: str(ClientKind(row.kind).label),
            act=lambda row, value, by: change_client(client=row, by=by, kind=value),
            field=choice("Kind", ClientKind.choices),
            said=lambda value: str(ClientKind(value).label),
        ),
        GUIDELINE,
        ARCHIVE,
        RESTORE,
    ),
    "sites": (GUIDELINE, ARCHIVE, RESTORE),
    "spas": (
        GUIDELINE,
        Change(
            "temperature",
            "Set temperature",
            now=lambda row: _degrees(row.set_temperature_c),
            act=lambda row, value, by: change_spa(spa=row, by=by, set_temperature_c=value),
            field=_temperature_field,
            said=_degrees,
        ),
        Change(
            "feeder",
            "Feeder",
            now=lambda row: str(Feeder(row.feeder).label),
            act=lambda row, value, by: change_spa(spa=row, by=by, feeder=value),
            field=choice("Feeder", Feeder.choices),
            said=lambda value: str(Feeder(value).label),
        ),
        ARCHIVE,
        RESTORE,
    ),
    "visits": (
        Change(
            "day",
            "Move to another day",
            now=lambda row: _day(row.planned_on),
            act=_plan(planned_on=None),
            field=lambda _: DayField(name="Day", first_year=2000),
            said=_day,
        ),
        Change(
            "technician",
            "Give to another technician",
            now=lambda row: row.technician.name if row.technician else "Nobody yet",
            act=_plan(technician=None),
            field=_technician_field,
            said=lambda value: value.name if value else "Nobody yet",
        ),
        Change(
            "cancel",
            "Cancel, with a reason",
            now=lambda row: str(row.get_state_display()),
            act=lambda row, value, by: cancel_visit(
                visit=row, reason=value, by=by, expected_revision=row.revision
            ),
            field=_reason_field,
            said=lambda value: f"Cancelled: {value}",
        ),
    ),
    "agreements": AGREEMENTS,
}
_PLANNED = ("visits", "agreements")
MAY_CHANGE = {kind: Action.PLAN_VISITS if kind in _PLANNED else Action.EDIT_SITES for kind in CHANGES}
