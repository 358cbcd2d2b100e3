"""What the office types about agreements, the roster, bookings and the settings of its weeks."""

from datetime import datetime
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django import forms
from django.db import models

from accounts.models import Person
from service.rounds.models import (
    Agreement,
    Booking,
    ChangeoverCalendar,
    DayOffReason,
    Frequency,
    RoundSettings,
    Shift,
    Skill,
    TechnicianBase,
)
from service.rounds.models.agreements import WEEKDAYS, weekday_bits
from service.rounds.read_calendar import MOST_BYTES
from service.shell.days import DayField
from service.shell.fields import NumberField
from service.sites.forms import Groups, news, unclipped
from service.sites.models import Site, Spa
from service.visits.forms_plan import who_carries_out_visits

WHOLE_NUMBERS = (
    "times_a_week",
    "every_weeks",
    "minutes_on_site",
    "min_days_between",
    "max_days_between",
)
BASE_FIELDS = (
    "start_name",
    "start_latitude",
    "start_longitude",
    "end_name",
    "end_latitude",
    "end_longitude",
    "capacity_kg",
)
BREAK_FIELDS = ("break_opens", "break_closes", "break_minutes", "most_minutes", "overtime_minutes")


def clock_field(label: str, *, required: bool = False, **more: Any) -> forms.TimeField:
    """A time of day, such as 14:30."""
    return forms.TimeField(
        label=label,
        required=required,
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
        input_formats=["%H:%M", "%H.%M", "%H:%M:%S"],
        error_messages={
            "invalid": f"{label} must be a time, such as 14:30.",
            "required": f"{label} is missing: a time, such as 14:30.",
        },
        **more,
    )


def _skills_field() -> "forms.ModelMultipleChoiceField[Skill]":
    return forms.ModelMultipleChoiceField(
        label="Skills needed",
        queryset=Skill.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": "Choose the skills from the list."},
    )


def _month_and_day(label: str, help_text: str) -> forms.RegexField:
    return forms.RegexField(
        r"^(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$",
        label=label,
        required=False,
        help_text=help_text,
        error_messages={"invalid": "Write month and day as 04-15 for 15 April."},
    )


def _within(form: forms.BaseForm, name: str, rows: Any) -> None:
    field = form.fields[name]
    assert isinstance(field, forms.ModelChoiceField)
    field.queryset = rows


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
    skills = _skills_field()

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
        _within(self, "preferred", people)
        _within(self, "not_with", people)
        _within(self, "skills", Skill.objects.filter(organisation=by.organisation_id))
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


class CalendarForm(forms.ModelForm):  # type: ignore[type-arg]
    """A calendar of a site's bookings. ``site``: whose spas are offered."""

    spa = forms.ModelChoiceField(label="Only this spa", queryset=Spa.objects.none(), required=False)
    feed_url = forms.CharField(
        label="Address of the feed",
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "url", "autocomplete": "off", "spellcheck": "false"}),
        help_text="The private iCalendar link of the booking program, https:// or http://. It is sealed in "
        "the database. Empty: upload a file instead.",
    )
    guests_leave_by = clock_field("Guests leave by", help_text="For whole days. Empty: as in the settings.")
    guests_arrive_from = clock_field(
        "Guests arrive from", help_text="For whole days. Empty: as in the settings."
    )

    class Meta:
        model = ChangeoverCalendar
        fields = ("name", "feed_url", "guests_leave_by", "guests_arrive_from")
        formfield_callback = unclipped

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.instance.site = site
        self.instance.organisation = site.organisation
        _choose_spa(self, site)
        self.fields["spa"].initial = self.instance.spa_id
        self.order_fields(["name", "spa"])

    def values(self) -> dict[str, Any]:
        names = (*(self._meta.fields or ()), "spa")
        return {name: self.cleaned_data[name] for name in names}


def _choose_spa(form: forms.BaseForm, site: Site) -> None:
    field = form.fields["spa"]
    assert isinstance(field, forms.ModelChoiceField)
    field.queryset = Spa.objects.filter(site=site).order_by("name", "pk")
    field.empty_label = "Every spa of the site"
    field.required = False


class CalendarFileForm(forms.Form):
    file = forms.FileField(
        label="Calendar file",
        widget=forms.FileInput(attrs={"accept": ".ics,text/calendar"}),
        help_text="An iCalendar file (.ics) of at most 2 MB. It replaces what this calendar held before.",
        error_messages={"required": "Choose the calendar file.", "empty": "The file is empty."},
    )

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise forms.ValidationError("The file is larger than 2 MB.")
        return file


class BookingForm(forms.Form):
    """A booking by hand, on the clock of the firm."""

    spa = forms.ModelChoiceField(label="Only this spa", queryset=Spa.objects.none(), required=False)
    arrives_on = DayField(name="Guests arrive on", first_year=2000)
    arrives_time = clock_field("At", required=True)
    leaves_on = DayField(name="Guests leave on", first_year=2000)
    leaves_time = clock_field("By", required=True)
    guests = NumberField(name="Guests", unit="people", low=0, high=200, required=False)
    reference = forms.CharField(
        label="Reference",
        required=False,
        help_text="Your own number of the booking, at most 80 characters. No names of guests.",
    )

    def __init__(
        self, *args: Any, site: Site, zone: ZoneInfo, settings: RoundSettings, **kwargs: Any
    ) -> None:
        self.zone = zone
        super().__init__(*args, **kwargs)
        _choose_spa(self, site)
        self.fields["arrives_time"].initial = settings.guests_arrive_from
        self.fields["leaves_time"].initial = settings.guests_leave_by

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        times = [cleaned.get(name) for name in ("arrives_on", "arrives_time", "leaves_on", "leaves_time")]
        if None not in times and times[2:] <= times[:2]:
            self.add_error("leaves_on", "Guests must leave after they arrive.")
        return cleaned

    def values(self) -> dict[str, Any]:
        """Booking's own fields. Of a valid form."""
        given = self.cleaned_data
        guests = given["guests"]
        return {
            "spa": given["spa"],
            "arrives_at": datetime.combine(given["arrives_on"], given["arrives_time"], self.zone),
            "leaves_at": datetime.combine(given["leaves_on"], given["leaves_time"], self.zone),
            "guests": None if guests is None else int(guests),
            "reference": given["reference"].strip(),
        }


def booking_initial(booking: Booking, zone: ZoneInfo) -> dict[str, Any]:
    arrives, leaves = booking.arrives_at.astimezone(zone), booking.leaves_at.astimezone(zone)
    return {
        "spa": booking.spa_id,
        "arrives_on": arrives.date(),
        "arrives_time": arrives.time(),
        "leaves_on": leaves.date(),
        "leaves_time": leaves.time(),
        "guests": booking.guests,
        "reference": booking.reference,
    }


def _coordinate(name: str, limit: int, help_text: str = "") -> NumberField:
    said = help_text or f"From −{limit} to {limit}°."
    return NumberField(name=name, unit="°", low=-limit, high=limit, places=6, required=False, help_text=said)


class TechnicianForm(forms.Form):
    """Where a technician's days begin and end, what they carry and can do, and their usual week.

    Break, overtime and longest day are the same on every day of the week.
    """

    start_name = forms.CharField(
        label="The day begins at", max_length=120, error_messages={"required": "Say where the day begins."}
    )
    start_latitude = _coordinate("Latitude", 90, "From −90 to 90°. Without it the technician is not planned.")
    start_longitude = _coordinate("Longitude", 180)
    end_name = forms.CharField(
        label="The day ends at", max_length=120, required=False, help_text="Empty: where it began."
    )
    end_latitude = _coordinate("Latitude of the end", 90)
    end_longitude = _coordinate("Longitude of the end", 180)
    capacity_kg = NumberField(name="The van carries", unit="kg", low=0, high=5000, initial=200)
    skills = _skills_field()
    break_opens = clock_field("Break not before")
    break_closes = clock_field("Break over by")
    break_minutes = NumberField(name="Break", unit="minutes", low=0, high=240, initial=0)
    most_minutes = NumberField(
        name="Longest day",
        unit="minutes",
        low=30,
        high=1440,
        required=False,
        help_text="From 30 to 1,440 minutes, from leaving to being back. Empty: the whole shift.",
    )
    overtime_minutes = NumberField(name="Overtime allowed", unit="minutes", low=0, high=480, initial=0)

    def __init__(self, *args: Any, by: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["skills"].label = "What they can do"
        _within(self, "skills", Skill.objects.filter(organisation=by.organisation_id))
        for number, day in enumerate(WEEKDAYS):
            self.fields[f"opens_{number}"] = clock_field(f"{day} from")
            self.fields[f"closes_{number}"] = clock_field(f"{day} to")

    @property
    def groups(self) -> Groups:
        days = tuple(f"{name}_{number}" for number in range(7) for name in ("opens", "closes"))
        return (
            ("Usual week", days),
            ("Break and overtime, on every day", BREAK_FIELDS),
            ("Where the day begins and ends", BASE_FIELDS[:-1]),
            ("Van and skills", ("capacity_kg", "skills")),
        )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for number, day in enumerate(WEEKDAYS):
            opens, closes = cleaned.get(f"opens_{number}"), cleaned.get(f"closes_{number}")
            if opens and not closes:
                self.add_error(f"closes_{number}", f"Say until when {day} lasts, or leave both empty.")
            if closes and not opens:
                self.add_error(f"opens_{number}", f"Say when {day} begins, or leave both empty.")
        return cleaned

    def base(self) -> dict[str, Any]:
        values = {name: self.cleaned_data[name] for name in BASE_FIELDS}
        return values | {"capacity_kg": int(values["capacity_kg"])}

    def shifts(self) -> dict[int, dict[str, Any] | None]:
        """Weekday -> fields of its shift, None for a free day. Of a valid form."""
        given = self.cleaned_data
        every_day = {
            name: int(value) if name.endswith("minutes") and value is not None else value
            for name in BREAK_FIELDS
            for value in (given[name],)
        }
        return {
            number: {"opens": given[f"opens_{number}"], "closes": given[f"closes_{number}"], **every_day}
            if given[f"opens_{number}"]
            else None
            for number in range(7)
        }


def technician_initial(base: TechnicianBase | None, shifts: list[Shift]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    if base is not None:
        values = {name: getattr(base, name) for name in BASE_FIELDS}
        values["skills"] = list(base.skills.all())
    if shifts:
        values |= {name: getattr(shifts[0], name) for name in BREAK_FIELDS}
    for shift in shifts:
        values |= {f"opens_{shift.weekday}": shift.opens, f"closes_{shift.weekday}": shift.closes}
    return values


class DayOffForm(forms.Form):
    technician = forms.ModelChoiceField(
        label="Who",
        queryset=Person.objects.none(),
        required=False,
        empty_label="Everybody: the firm is closed",
        error_messages={"invalid_choice": "Choose a technician from the list."},
    )
    first_day = DayField(name="First day", first_year=2000)
    last_day = DayField(name="Last day", first_year=2000, help_text="The same day for a single one.")
    reason = forms.ChoiceField(label="Reason", choices=DayOffReason.choices)
    note = forms.CharField(label="Note", required=False, max_length=200)

    def __init__(self, *args: Any, by: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _within(self, "technician", who_carries_out_visits(by))


def _with_scheme(db_field: "models.Field[Any, Any]", **kwargs: Any) -> forms.Field | None:
    """Like ``unclipped``; an address without a scheme, as of a server in the same house, is http."""
    if isinstance(db_field, models.URLField):
        kwargs["assume_scheme"] = "http"
    return unclipped(db_field, **kwargs)


class SettingsForm(forms.ModelForm):  # type: ignore[type-arg]
    """How weeks are planned: holidays, hours of guests, roads, prices."""

    groups: ClassVar[Groups] = (
        ("Public holidays", ("country", "subdivision")),
        ("Guests", ("guests_leave_by", "guests_arrive_from")),
        ("Driving times", ("road_source", "server_url", "road_factor")),
        (
            "What things cost",
            (
                "currency",
                "price_per_driving_minute",
                "price_per_km",
                "price_per_overtime_minute",
                "price_per_technician_day",
                "price_per_moved_visit",
            ),
        ),
    )
    guests_leave_by = clock_field("Guests leave by", required=True)
    guests_arrive_from = clock_field("Guests arrive from", required=True)
    road_factor = NumberField(
        name="Factor on driving times",
        low=0.5,
        high=3,
        places=2,
        help_text="From 0.5 to 3. 1.2 makes every drive a fifth longer than the source says.",
    )

    class Meta:
        model = RoundSettings
        fields = (
            "country",
            "subdivision",
            "guests_leave_by",
            "guests_arrive_from",
            "road_source",
            "server_url",
            "road_factor",
            "currency",
            "price_per_driving_minute",
            "price_per_km",
            "price_per_overtime_minute",
            "price_per_technician_day",
            "price_per_moved_visit",
        )
        formfield_callback = _with_scheme
        help_texts: ClassVar = {
            "country": "Two capital letters, such as GB, US or NZ. Empty: no public holidays.",
            "subdivision": "Its code, such as ENG, SCT or CA. Empty: those of the whole country.",
            "server_url": "Only for a routing server.",
            "currency": "Three capital letters, such as GBP. Prices below are in it.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            if name.startswith("price_"):
                label = str(field.label)
                self.fields[name] = NumberField(
                    name=label[:1].upper() + label[1:], low=0, high=10_000, places=2
                )

    def add_error(self, field: str | None, error: Any) -> None:
        super().add_error(field, news(self, error))

    def values(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self._meta.fields or ()}
