"""What people type about clients, sites and spas.

Forms translate; what must hold is checked again by the use cases and the models.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, ClassVar, TypeVar

from django import forms
from django.core.exceptions import ValidationError
from django.db import models

from accounts.models import Person
from service.chemistry.readings import PARAMETERS
from service.chemistry.substances import SUBSTANCES
from service.shell.days import DayField
from service.shell.fields import NumberField
from service.sites import supply_water
from service.sites.models import Client, Site, Spa, SpaPhoto

Done = TypeVar("Done")
Groups = tuple[tuple[str, tuple[str, ...]], ...]


def unclipped(db_field: "models.Field[Any, Any]", **kwargs: Any) -> forms.Field | None:
    """The model's form field without the browser's length limit, which cuts a paste in silence."""
    field = db_field.formfield(**kwargs)
    if field is not None:
        field.widget.attrs.pop("maxlength", None)
    return field


def grouped(form: forms.BaseForm, groups: Groups) -> list[tuple[str, list[forms.BoundField]]]:
    """The form's fields under their headings, for the page."""
    return [(title, [form[name] for name in names if name in form.fields]) for title, names in groups]


def news(form: forms.BaseForm, error: Any) -> Any:
    """Without reasons at fields that have one already.

    A number that could not be read is missing to the model: saying that as well would mislead.
    """
    if not isinstance(error, ValidationError) or not hasattr(error, "error_dict"):
        return error
    return ValidationError(
        {name: found for name, found in error.error_dict.items() if name not in form.errors}
    )


def typed(form: "forms.ModelForm[Any]") -> dict[str, Any]:
    """Model field -> value, of those that a valid form changes; one left as it stood is left alone."""
    changed = [name for name in form._meta.fields or () if name in form.changed_data]
    return {name: form.cleaned_data[name] for name in changed}


def done_or_told(form: forms.BaseForm, act: Callable[[], Done]) -> Done | None:
    """What ``act`` returns; None when it refuses, after putting its reasons at the form's fields."""
    try:
        return act()
    except ValidationError as refused:
        reasons = refused.message_dict if hasattr(refused, "error_dict") else {"": refused.messages}
        for field, messages in reasons.items():
            for message in messages:
                form.add_error(field if field in form.fields else None, message)
        return None


class ClientForm(forms.ModelForm):  # type: ignore[type-arg]
    groups: ClassVar[Groups] = (
        ("Who", ("name", "reference", "kind")),
        ("How to reach them", ("contact_name", "email", "phone")),
        ("For the office", ("notes",)),
    )

    class Meta:
        model = Client
        fields = ("name", "reference", "kind", "contact_name", "email", "phone", "notes")
        formfield_callback = unclipped
        widgets: ClassVar = {
            "phone": forms.TextInput(attrs={"type": "tel", "autocomplete": "off"}),
            "notes": forms.Textarea(attrs={"rows": 4}),
        }
        help_texts: ClassVar = {
            "reference": "Your own number or code for this client, if you use one.",
            "notes": "Seen by people of the firm only.",
        }


class SiteForm(forms.ModelForm):  # type: ignore[type-arg]
    groups: ClassVar[Groups] = (
        ("Where", ("name", "reference", "address", "latitude", "longitude")),
        ("At the gate", ("access_code", "access_notes", "parking")),
        ("On the ground", ("breaker", "tap", "contact_name", "contact_phone")),
    )
    latitude = NumberField(
        name="Latitude",
        unit="°",
        low=-90,
        high=90,
        places=6,
        required=False,
        help_text="From −90 to 90, north is positive, such as 54.123456. With it the drive can be planned.",
    )
    longitude = NumberField(
        name="Longitude",
        unit="°",
        low=-180,
        high=180,
        places=6,
        required=False,
        help_text="From −180 to 180, east is positive.",
    )

    class Meta:
        model = Site
        fields = (
            "name",
            "reference",
            "address",
            "latitude",
            "longitude",
            "access_code",
            "access_notes",
            "parking",
            "breaker",
            "tap",
            "contact_name",
            "contact_phone",
        )
        formfield_callback = unclipped
        widgets: ClassVar = {
            "address": forms.Textarea(attrs={"rows": 3}),
            "access_code": forms.TextInput(attrs={"autocomplete": "off"}),
            "access_notes": forms.Textarea(attrs={"rows": 4, "autocomplete": "off"}),
            "contact_phone": forms.TextInput(attrs={"type": "tel", "autocomplete": "off"}),
        }
        help_texts: ClassVar = {
            "reference": "Your own number or code for this site, if you use one.",
            "access_code": "Sealed in the database; shown to the office and to whoever stops there today.",
            "access_notes": "Sealed like the code: which gate, which key, the dog, whom to ring.",
            "breaker": "Where the breaker of the tub is.",
            "tap": "Where the tap and hose for filling are.",
        }

    def add_error(self, field: str | None, error: Any) -> None:
        super().add_error(field, news(self, error))


def _substances() -> list[tuple[str, str]]:
    return sorted(((item.id, item.name) for item in SUBSTANCES.values()), key=lambda choice: choice[1])


class SpaForm(forms.ModelForm):  # type: ignore[type-arg]
    """A spa's specification. A new volume is saved only when it is confirmed."""

    groups: ClassVar[Groups] = (
        ("Which tub", ("name", "reference", "shell", "setting", "commissioned_on")),
        ("Water", ("volume_l", "volume_basis", "volume_confirmed", "fill_l_per_minute")),
        ("Treatment", ("sanitiser", "feeder", "filtration", "ozone_or_uv")),
        ("Heat and use", ("set_temperature_c", "heater_kw", "bather_capacity", "cover")),
        ("What the maker says", ("forbidden_substances", "warranty_note")),
        ("For the firm", ("notes",)),
    )
    volume_l = NumberField(
        name="Volume",
        unit="L",
        low=100,
        high=20000,
        help_text="From 100 to 20,000 L. Every dose is worked out from it.",
    )
    volume_confirmed = forms.BooleanField(
        label="The new volume is right",
        required=False,
        help_text="It counts from the next decision on; earlier records keep the volume they were dosed for.",
    )
    set_temperature_c = NumberField(name="Set temperature", unit="°C", low=5, high=40, places=1)
    heater_kw = NumberField(name="Heater", unit="kW", low=0, high=100, places=1, required=False)
    fill_l_per_minute = NumberField(name="Fill rate", unit="L/min", low=0, high=500, places=1, required=False)
    bather_capacity = NumberField(name="Bather limit", unit="people", low=1, high=60, required=False)
    commissioned_on = DayField(name="Commissioned on", required=False)
    forbidden_substances = forms.MultipleChoiceField(
        label="Products the maker excludes",
        choices=_substances,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="From the care sheet or warranty. These are never part of a treatment here.",
    )

    class Meta:
        model = Spa
        fields = (
            "name",
            "reference",
            "shell",
            "setting",
            "commissioned_on",
            "volume_l",
            "volume_basis",
            "fill_l_per_minute",
            "sanitiser",
            "feeder",
            "filtration",
            "ozone_or_uv",
            "set_temperature_c",
            "heater_kw",
            "bather_capacity",
            "cover",
            "forbidden_substances",
            "warranty_note",
            "notes",
        )
        formfield_callback = unclipped
        widgets: ClassVar = {"notes": forms.Textarea(attrs={"rows": 4})}
        help_texts: ClassVar = {
            "reference": "Your own number or code for this tub, if you use one.",
            "volume_basis": "A guess makes every dose a guess: measure when you next fill.",
            "cover": "Which cover, and how its lifter works.",
            "notes": "Seen by people of the firm only.",
        }

    def __init__(self, *args: Any, may_change_volume: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order_fields([name for _, names in self.groups for name in names])
        self.volume_was = None if self.instance._state.adding else self.instance.volume_l
        if self.volume_was is None or not may_change_volume or not self.is_bound:
            del self.fields["volume_confirmed"]
        if self.volume_was is not None and not may_change_volume:
            self.fields["volume_l"].disabled = self.fields["volume_basis"].disabled = True

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        volume = cleaned.get("volume_l")
        if "volume_confirmed" not in self.fields:
            return cleaned
        if volume in (None, self.volume_was):
            del self.fields["volume_confirmed"]
        elif not cleaned.get("volume_confirmed"):
            self.add_error(
                "volume_confirmed",
                f"The volume changes from {self.volume_was:,} to {volume:,} L: tick to say that it is right.",
            )
        return cleaned


class SupplyWaterForm(forms.Form):
    """Readings of the tap water. What is left empty is not known, which is not zero."""

    tested_on = DayField(name="Tested on", required=False, help_text="Or the day of the supplier's report.")

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        known: Mapping[str, Any] = site.supply_water
        kwargs["initial"] = {**known, "tested_on": site.supply_water_tested_on}
        super().__init__(*args, **kwargs)
        for name in supply_water.PARAMETERS:
            parameter = PARAMETERS[name]
            self.fields[name] = NumberField(
                name=parameter.label,
                unit=parameter.unit,
                low=parameter.low,
                high=parameter.high,
                places=2 if name in ("ph", "free_chlorine_mg_l", "total_chlorine_mg_l") else 1,
                required=False,
            )
        self.order_fields([*supply_water.PARAMETERS, "tested_on"])

    def readings(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in supply_water.PARAMETERS}


class PhotoForm(forms.Form):
    upload = forms.FileField(
        label="Photo",
        help_text="JPEG, PNG or WebP, at most 20 MB. Place and time are taken out of it.",
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
        error_messages={"required": "Choose a photo.", "empty": "The file is empty."},
    )
    caption = unclipped(SpaPhoto._meta.get_field("caption"))


class CaptionForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = SpaPhoto
        fields = ("caption",)
        formfield_callback = unclipped


class ClientAccessForm(forms.Form):
    """Offers rental managers who do not see the client yet."""

    def __init__(self, *args: Any, managers: Sequence[Person], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = {str(person.pk): person for person in managers}
        names = [(key, f"{person.name}, {person.email}") for key, person in people.items()]
        self.fields["person"] = forms.TypedChoiceField(
            label="Rental manager",
            choices=[("", "Choose"), *names],
            coerce=people.__getitem__,
        )
