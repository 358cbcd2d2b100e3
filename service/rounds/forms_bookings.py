"""What the office types about guests' bookings and their calendars."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from service.rounds.form_fields import clock_field
from service.rounds.models import (
    Booking,
    ChangeoverCalendar,
    RoundSettings,
)
from service.rounds.read_calendar import MEGABYTE, MOST_BYTES
from service.shell.days import DayField
from service.shell.fields import NumberField
from service.sites.forms import unclipped
from service.sites.models import Site, Spa


class CalendarForm(forms.ModelForm):  # type: ignore[type-arg]
    """A calendar of a site's bookings. ``site``: whose spas are offered."""

    spa = forms.ModelChoiceField(label="Only this spa", queryset=Spa.objects.none(), required=False)
    feed_url = forms.CharField(
        label="Address of the feed",
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "url", "autocomplete": "off", "spellcheck": "false"}),
        help_text="The private iCalendar link of the booking program, https://, http:// or webcal://. "
        "It is sealed in the database. Empty: upload a file instead.",
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
        widget=forms.FileInput(attrs={"accept": ".ics,.gz,text/calendar"}),
        help_text=f"An iCalendar file (.ics) of at most {MOST_BYTES // MEGABYTE} MB. "
        "It replaces what this calendar held before.",
        error_messages={"required": "Choose the calendar file.", "empty": "The file is empty."},
    )

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise forms.ValidationError(f"The file is larger than {MOST_BYTES // MEGABYTE} MB.")
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
