"""What the office types about a visit that is planned."""

from typing import Any

from django import forms
from django.db.models import QuerySet

from accounts.models import Person
from accounts.roles import ALLOWED, Action
from service.shell.days import DayField
from service.shell.fields import NumberField
from service.sites.models import Spa
from service.visits.models import Visit, VisitKind, VisitState

LONGEST_INSTRUCTIONS = 2000
PLAN_FIELDS = (
    "planned_on",
    "technician",
    "window_from",
    "window_to",
    "kind",
    "changeover",
    "bathers_expected",
    "instructions",
)


def who_carries_out_visits(person: Person) -> QuerySet[Person]:
    """People of the same firm who may be sent to a visit."""
    roles = [role for role, actions in ALLOWED.items() if Action.CARRY_OUT_VISITS in actions]
    people = Person.objects.filter(organisation=person.organisation_id, is_active=True)
    return people.filter(role_grants__role__in=roles).distinct().order_by("name", "pk")


def _clock(label: str) -> forms.TimeField:
    return forms.TimeField(
        label=label,
        required=False,
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
        input_formats=["%H:%M", "%H.%M", "%H:%M:%S"],
        error_messages={"invalid": f"{label} must be a time, such as 14:30."},
    )


class PlanForm(forms.Form):
    """When, who and what. ``by``: the person who plans, whose firm's people may be sent."""

    planned_on = DayField(name="Day", first_year=2000)
    technician = forms.ModelChoiceField(
        label="Technician",
        queryset=Person.objects.none(),
        required=False,
        empty_label="Nobody yet",
        error_messages={"invalid_choice": "Choose a technician from the list."},
    )
    window_from = _clock("Not before")
    window_to = _clock("Not after")
    kind = forms.ChoiceField(label="Kind", choices=VisitKind.choices, initial=VisitKind.ROUND)
    changeover = forms.BooleanField(
        label="Changeover between guests",
        required=False,
        help_text="Fitness lapses when the guests change: the tub is tested before the next ones use it.",
    )
    bathers_expected = NumberField(
        name="Bathers expected",
        unit="people",
        low=0,
        high=500,
        required=False,
        help_text="Before the next visit, from 0 to 500 people. Leave it empty when nobody knows.",
    )
    instructions = forms.CharField(
        label="What to do",
        required=False,
        max_length=LONGEST_INSTRUCTIONS,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=f"For the technician; at most {LONGEST_INSTRUCTIONS:,} characters.",
    )

    def __init__(self, *args: Any, by: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["technician"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = who_carries_out_visits(by)
        # The browser would cut a long paste in silence; the field says it instead.
        self.fields["instructions"].widget.attrs.pop("maxlength", None)

    def plan(self) -> dict[str, Any]:
        """What was typed, as the use cases take it. Of a valid form."""
        given = {name: self.cleaned_data[name] for name in PLAN_FIELDS}
        people = given["bathers_expected"]
        return given | {"bathers_expected": None if people is None else int(people)}


class StopForm(PlanForm):
    """A plan for one or more spas of one site."""

    spas = forms.ModelMultipleChoiceField(
        label="Spas",
        queryset=Spa.objects.none(),
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": "Choose at least one spa.",
            "invalid_choice": "Choose the spas from the list.",
        },
    )
    field_order = ("spas", *PLAN_FIELDS)

    def __init__(self, *args: Any, spas: QuerySet[Spa], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["spas"]
        assert isinstance(field, forms.ModelMultipleChoiceField)
        field.queryset = spas


class ReasonForm(forms.Form):
    reason = forms.CharField(
        label="Why",
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Say why in a few words."},
        help_text="At most 400 characters.",
    )


class GiveToForm(ReasonForm):
    """Handing a visit to somebody else."""

    to = forms.ModelChoiceField(
        label="To",
        queryset=Person.objects.none(),
        empty_label="Choose a person",
        error_messages={"required": "Choose who takes it over.", "invalid_choice": "Choose from the list."},
    )
    field_order = ("to", "reason")

    def __init__(self, *args: Any, visit: Visit, by: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["to"]
        assert isinstance(field, forms.ModelChoiceField)
        people = who_carries_out_visits(by)
        field.queryset = people.exclude(pk=visit.technician_id) if visit.technician_id else people


class PlannedFilter(forms.Form):
    """The filters of the list of planned visits, read from the address."""

    start = DayField(name="From day", first_year=2000, required=False)
    technician = forms.ChoiceField(label="Technician", required=False)
    state = forms.ChoiceField(label="State", choices=[("", "Any state"), *VisitState.choices], required=False)

    def __init__(self, *args: Any, people: QuerySet[Person], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["technician"]
        assert isinstance(field, forms.ChoiceField)
        named = [(str(person.pk), person.name) for person in people]
        field.choices = [("", "Everybody"), ("nobody", "Nobody yet"), *named]
