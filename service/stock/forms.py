"""What people type about products, batches and instruments."""

from decimal import Decimal
from typing import Any, ClassVar

from django import forms
from django.db.models import QuerySet

from service.chemistry.readings import PARAMETERS
from service.chemistry.substances import SUBSTANCES
from service.shell.days import DayField
from service.shell.fields import NumberField, plain
from service.sites.forms import Groups, news, typed, unclipped
from service.stock.models import Batch, Instrument, Product

# Tests that come with a stated uncertainty on an instrument's data sheet.
WITH_PLUS_MINUS = (
    "ph",
    "free_chlorine_mg_l",
    "total_chlorine_mg_l",
    "total_bromine_mg_l",
    "total_alkalinity_mg_l",
    "calcium_hardness_mg_l",
    "cyanuric_acid_mg_l",
    "total_dissolved_solids_mg_l",
    "temperature_c",
)


def _substances() -> list[tuple[str, str]]:
    known = sorted(((item.id, item.name) for item in SUBSTANCES.values()), key=lambda choice: choice[1])
    return [("", "Choose"), *known]


class ProductForm(forms.ModelForm):  # type: ignore[type-arg]
    """Strength is typed in percent and kept as a fraction."""

    groups: ClassVar[Groups] = (
        ("What it is", ("name", "substance", "strength_percent")),
        ("How it is measured out", ("form", "density_g_ml", "unit_mass_g")),
        ("What the label says", ("label_wait_minutes", "label_max_g_per_m3")),
    )
    substance = forms.ChoiceField(
        label="Substance",
        choices=_substances,
        help_text="The active substance on the label. If it is not in the list, Runnel cannot dose it.",
        error_messages={"required": "Choose the substance."},
    )
    strength_percent = NumberField(
        name="Strength",
        unit="%",
        low=Decimal("0.001"),
        high=100,
        places=3,
        help_text="From 0.001 to 100 %: how much of the product, by mass, is this substance. Not the "
        "available chlorine; that is worked out and shown, so that you can compare it with the label.",
    )
    density_g_ml = NumberField(
        name="Density",
        unit="g/mL",
        low=Decimal("0.2"),
        high=3,
        places=3,
        required=False,
        help_text="From 0.2 to 3 g/mL. Needed for a liquid; with it granules can be given in scoops.",
    )
    unit_mass_g = NumberField(
        name="Grams per tablet",
        unit="g",
        low=Decimal("0.1"),
        high=2000,
        places=1,
        required=False,
        help_text="From 0.1 to 2,000 g. Needed for tablets.",
    )
    label_wait_minutes = NumberField(
        name="Wait on the label",
        unit="minutes",
        low=0,
        high=10080,
        required=False,
        help_text="From 0 to 10,080 minutes (a week). A longer wait on the label is always kept.",
    )
    label_max_g_per_m3 = NumberField(
        name="Largest dose on the label",
        unit="g per m³",
        low=Decimal("0.01"),
        high=100000,
        places=2,
        required=False,
        help_text="From 0.01 to 100,000 g per m³ of water. No dose goes above it.",
    )

    class Meta:
        model = Product
        fields = (
            "name",
            "substance",
            "form",
            "density_g_ml",
            "unit_mass_g",
            "label_wait_minutes",
            "label_max_g_per_m3",
        )
        formfield_callback = unclipped

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order_fields([name for _, names in self.groups for name in names])
        if not self.instance._state.adding:
            percent = self.instance.active_fraction * 100
            self.fields["strength_percent"].initial = plain(percent)

    def add_error(self, field: str | None, error: Any) -> None:
        super().add_error(field, news(self, error))

    def values(self) -> dict[str, Any]:
        """Product field -> value, of those that change."""
        values = typed(self)
        if "strength_percent" in self.changed_data:
            values["active_fraction"] = self.cleaned_data["strength_percent"] / 100
        return values


class BatchForm(forms.ModelForm):  # type: ignore[type-arg]
    expires_on = DayField(
        name="Use by", first_year=2000, required=False, help_text="As printed; the last day of a month alone."
    )

    class Meta:
        model = Batch
        fields = ("code", "expires_on")
        formfield_callback = unclipped
        help_texts: ClassVar = {"code": "The batch or lot number on the label."}


class InstrumentForm(forms.ModelForm):  # type: ignore[type-arg]
    groups: ClassVar[Groups] = (
        ("What it is", ("name", "method", "serial")),
        ("Its checks", ("checked_on", "check_due_on")),
        ("Reagents or strips", ("reagent_lot", "reagent_expires_on")),
        ("Its own ± from the data sheet", tuple(f"pm_{name}" for name in WITH_PLUS_MINUS)),
    )
    checked_on = DayField(name="Last checked against a standard", first_year=2000, required=False)
    check_due_on = DayField(name="Next check due", first_year=2000, required=False)
    reagent_expires_on = DayField(name="Reagent or strips use by", first_year=2000, required=False)

    class Meta:
        model = Instrument
        fields = (
            "name",
            "method",
            "serial",
            "checked_on",
            "check_due_on",
            "reagent_lot",
            "reagent_expires_on",
        )
        formfield_callback = unclipped

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in WITH_PLUS_MINUS:
            parameter = PARAMETERS[name]
            self.fields[f"pm_{name}"] = NumberField(
                name=f"± {parameter.label}",
                unit=parameter.unit,
                low=0,
                high=parameter.high,
                places=3,
                required=False,
                initial=self.instance.plus_minus.get(name),
                help_text="",
            )

    def add_error(self, field: str | None, error: Any) -> None:
        super().add_error(field, news(self, error))

    def values(self) -> dict[str, Any]:
        """Instrument field -> value, of those that change."""
        values = typed(self)
        if any(name.startswith("pm_") for name in self.changed_data):
            others = {k: v for k, v in self.instance.plus_minus.items() if k not in WITH_PLUS_MINUS}
            given = {name: self.cleaned_data[f"pm_{name}"] for name in WITH_PLUS_MINUS}
            values["plus_minus"] = others | {name: str(v) for name, v in given.items() if v is not None}
        return values


class SiteProductForm(forms.Form):
    note = forms.CharField(
        label="Where, how much", max_length=200, required=False, help_text="Where it stands, and how much."
    )

    def __init__(self, *args: Any, products: QuerySet[Product], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["product"] = forms.ModelChoiceField(
            queryset=products,
            label="Product",
            empty_label="Choose",
            error_messages={"required": "Choose a product."},
        )
        self.fields["note"].widget.attrs.pop("maxlength", None)
        self.order_fields(["product", "note"])
