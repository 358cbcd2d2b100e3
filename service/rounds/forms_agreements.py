"""What the office types about an agreement."""

from typing import Any, ClassVar

from django import forms

from accounts.models import Person
from service.rounds.form_fields import clock_field, offer, skills_field
from service.rounds.models import (
    Agreement,
    Frequency,
    Skill,
)
from service.rounds.models.agreements import WEEKDAYS, weekday_bits
from service.shell.days import DayField
from service.shell.fields import NumberField
from service.sites.forms import Groups, news, unclipped
from service.visits.forms_plan import who_carries_out_visits

WHOLE_NUMBERS = (
    "times_a_week",
    "every_weeks",
    "minutes_on_site",
    "min_days_between",
    "max_days_between",
)


def _month_and_day(label: str, help_text: str) -> forms.RegexField:
    return forms.RegexField(
        r"^(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$",
        label=label,
        required=False,
        help_text=help_text,
        error_messages={"invalid": "Write month and day as 04-15 for 15 April."},
    )


class AgreementForm(forms.ModelForm):  # type: ignore[type-arg]
    """An agreement. ``by``: the person who makes it, whose firm's people and skills are offered."""

    groups: ClassVar[Groups] = (
        ("How often", ("frequency", "times_a_week", "every_weeks", "weekdays")),
        ("At what time", ("minutes_on_site", "window_from", "window_to", "while_guests_stay")),
        ("From when to when", ("starts_on", "ends_on", "season_from", "season_to", "avoid_public_holidays")),
        ("How far apart", ("min_days_between", "max_days_between")),
        ("Who", ("preferred", "not_with", "skills")),
        ("In a full week", ("optional", "drop_price")),
        ("For the technician", ("instructions",)),
    )
    times_a_week = NumberField(
        name="Visits a week",
        low=1,
        high=7,
        required=False,
        help_text="From 1 to 7, for so many times a week.",
    )
    every_weeks = NumberField(
        name="Weeks from visit to visit",
        unit="weeks",
        low=1,
        high=52,
        required=False,
        help_text="From 1 to 52 weeks, counted from the week of the first day.",
    )
    weekdays = forms.TypedMultipleChoiceField(
        label="Days allowed",
        choices=list(enumerate(WEEKDAYS)),
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Allow at least one day of the week."},
    )
    minutes_on_site = NumberField(name="Minutes on site", unit="minutes", low=5, high=480)
    window_from = clock_field("Not before", help_text="Earliest start. Empty: any time.")
    window_to = clock_field("Not after", help_text="Latest start. Empty: any time.")
    starts_on = DayField(name="First day", first_year=2000)
    ends_on = DayField(
        name="Last day", first_year=2000, required=False, help_text="Empty: until it is ended."
    )
    season_from = _month_and_day(
        "Season begins", "Month and day, such as 04-15 for 15 April. Empty: all year."
    )
    season_to = _month_and_day(
        "Season ends", "Month and day, such as 10-31. A season may run over the new year."
    )
    min_days_between = NumberField(
        name="At least", unit="days", low=1, high=400, required=False, help_text="Fewest days between visits."
    )
    max_days_between = NumberField(
        name="At most", unit="days", low=1, high=400, required=False, help_text="Most days between visits."
    )
    drop_price = NumberField(
        name="What dropping a visit costs",
        low=0,
        high=10_000,
        places=2,
        required=False,
        help_text="From 0 to 10,000, in the firm's currency; weighed against driving and overtime.",
    )
    preferred = forms.ModelChoiceField(
        label="Preferred technician",
        queryset=Person.objects.none(),
        required=False,
        empty_label="Nobody in particular",
        error_messages={"invalid_choice": "Choose a technician from the list."},
    )
    not_with = forms.ModelMultipleChoiceField(
        label="Not with",
        queryset=Person.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": "Choose the people from the list."},
    )
    skills = skills_field()

    class Meta:
        model = Agreement
        fields = (
            "frequency",
            "times_a_week",
            "every_weeks",
            "minutes_on_site",
            "window_from",
            "window_to",
            "while_guests_stay",
            "starts_on",
            "ends_on",
            "season_from",
            "season_to",
            "avoid_public_holidays",
            "min_days_between",
            "max_days_between",
            "preferred",
            "optional",
            "drop_price",
            "instructions",
        )
        formfield_callback = unclipped
        widgets: ClassVar = {"instructions": forms.Textarea(attrs={"rows": 4})}
        help_texts: ClassVar = {
            "while_guests_stay": "Otherwise days on which guests are booked in are left out.",
            "avoid_public_holidays": "Visits move to another allowed day, and the week says so.",
            "optional": "A full week may leave it out, at the price below.",
            "instructions": "At most 2,000 characters.",
        }

    def __init__(self, *args: Any, by: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = who_carries_out_visits(by)
        offer(self, "preferred", people)
        offer(self, "not_with", people)
        offer(self, "skills", Skill.objects.filter(organisation=by.organisation_id))
        self.fields["weekdays"].initial = list(self.instance.weekdays)
        if not self.instance._state.adding:
            self.fields["skills"].initial = list(self.instance.skills.all())
            self.fields["not_with"].initial = list(self.instance.not_with.all())

    def add_error(self, field: str | None, error: Any) -> None:
        super().add_error(field, news(self, error))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        # What belongs to another frequency is put away rather than refused.
        if cleaned.get("frequency") != Frequency.TIMES_A_WEEK:
            cleaned["times_a_week"] = None
        if cleaned.get("frequency") != Frequency.EVERY_WEEKS:
            cleaned["every_weeks"] = None
        if cleaned.get("weekdays"):
            self.instance.weekdays_allowed = weekday_bits(cleaned["weekdays"])
        return cleaned

    def values(self) -> dict[str, Any]:
        """Agreement's own fields as typed. Of a valid form."""
        values = {name: self.cleaned_data[name] for name in self._meta.fields or ()}
        for name in WHOLE_NUMBERS:
            values[name] = None if values[name] is None else int(values[name])
        return values | {"weekdays_allowed": weekday_bits(self.cleaned_data["weekdays"])}


class EndForm(forms.Form):
    ends_on = DayField(
        name="Last day", first_year=2000, help_text="After it no visits are owed. Those planned already stay."
    )


class SkillForm(forms.Form):
    name = forms.CharField(label="Name", max_length=60, help_text="At most 60 characters, such as wood tubs.")
