"""What the office types about a drive that it knows better than the map."""

from typing import Any

from django import forms

from accounts.models import Person
from service.rounds.form_fields import offer
from service.rounds.models import TechnicianBase
from service.rounds.models.drives import MOST_DRIVE_KM, MOST_DRIVE_MINUTES
from service.shell.fields import NumberField
from service.sites.models import Site
from service.sites.visible import visible_sites


class BaseField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """Where somebody's days begin, with whose days they are."""

    def label_from_instance(self, base: TechnicianBase) -> str:
        return f"{base.start_name}, {base.technician.name}"


class DriveForm(forms.Form):
    """A drive between a site and another place: another site, or where somebody's days begin."""

    site = forms.ModelChoiceField(
        label="Between",
        queryset=Site.objects.none(),
        empty_label="Choose a site",
        error_messages={"required": "Choose a site.", "invalid_choice": "Choose a site from the list."},
        help_text="Sites whose position is known.",
    )
    other_base = BaseField(
        label="And where the days of this technician begin",
        queryset=TechnicianBase.objects.none(),
        required=False,
        empty_label="Not there",
        error_messages={"invalid_choice": "Choose a place from the list."},
    )
    other_site = forms.ModelChoiceField(
        label="Or this site",
        queryset=Site.objects.none(),
        required=False,
        empty_label="Not there",
        error_messages={"invalid_choice": "Choose a site from the list."},
    )
    minutes = NumberField(name="The drive takes", unit="min", low=1, high=MOST_DRIVE_MINUTES)
    km = NumberField(
        name="Length",
        unit="km",
        low=0.1,
        high=MOST_DRIVE_KM,
        places=1,
        required=False,
        help_text=f"From 0.1 to {MOST_DRIVE_KM:,} km. Empty: as long as the map says.",
    )

    def __init__(self, *args: Any, by: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        placed = visible_sites(by).filter(archived_at=None, latitude__isnull=False).order_by("name", "pk")
        offer(self, "site", placed)
        offer(self, "other_site", placed)
        bases = TechnicianBase.objects.filter(
            organisation=by.organisation_id, start_latitude__isnull=False, technician__is_active=True
        )
        offer(self, "other_base", bases.select_related("technician").order_by("technician__name"))

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if self.errors.keys() & {"other_base", "other_site"}:
            return given
        ends = [given.get("other_base"), given.get("other_site")]
        if None not in ends:
            self.add_error("other_site", "Choose one other place, not two.")
        elif ends == [None, None]:
            self.add_error("other_base", "Choose the other place: where days begin, or another site below.")
        return given

    def values(self) -> dict[str, Any]:
        """What ``enter_drive`` takes. Of a valid form."""
        return self.cleaned_data | {"minutes": int(self.cleaned_data["minutes"])}
