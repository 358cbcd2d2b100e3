"""What is typed while working and signing: steps, doses of one's own, tasks, photos, the signature."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from accounts.models import Organisation, Person
from service.shell.fields import NumberField
from service.stock.models import Batch, Product
from service.visits.clock import moment_today, zone_of
from service.visits.inspection import ITEMS
from service.visits.models import TaskKind, TreatmentStep, Visit, VisitState
from service.visits.open import ENDINGS
from service.visits.treatment import LARGEST_MASS_G, SMALLEST_MASS_G


def tell(form: forms.Form, wrong: ValidationError) -> None:
    """Put the reasons of a use case at the form's fields; others at its top."""
    reasons = wrong.message_dict if hasattr(wrong, "error_dict") else {"": wrong.messages}
    for name, messages in reasons.items():
        form.add_error(name if name in form.fields else None, messages)


class DoneAtForm(forms.Form):
    """Something done at a visit, now or at a time typed. visit: whose start and zone the time is read by."""

    done_at = forms.TimeField(
        label="Done at, if not just now",
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        input_formats=["%H:%M", "%H.%M", "%H:%M:%S"],
        error_messages={"invalid": "A time of the day, such as 14:05."},
    )

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.visit = visit

    def clean_done_at(self) -> datetime | None:
        """The moment meant: nothing typed is now."""
        at = self.cleaned_data["done_at"]
        zone = zone_of(self.visit.organisation)
        return at and moment_today(at, now=timezone.now(), since=self.visit.started_at, zone=zone)


class StepForm(DoneAtForm):
    actual_mass_g = NumberField(
        name="Really added",
        unit="g",
        low=SMALLEST_MASS_G,
        high=LARGEST_MASS_G,
        places=2,
        required=False,
        help_text="",
    )
    batch = forms.ModelChoiceField(
        label="Batch", queryset=Batch.objects.none(), required=False, empty_label="Not said"
    )
    reason = forms.CharField(label="Reason, when changed or skipped", required=False)
    field_order = ("actual_mass_g", "batch", "done_at", "reason")

    def __init__(
        self, *args: Any, step: TreatmentStep, batches: Iterable[Batch], visit: Visit, **kwargs: Any
    ) -> None:
        super().__init__(*args, visit=visit, **kwargs)
        if step.done_at:
            done = f"{step.done_at.astimezone(zone_of(visit.organisation)):%H:%M}"
            self.fields["done_at"].label = f"Done at, if not {done}"
        if step.action == "retest":
            del self.fields["done_at"]
        if step.product is None:
            del self.fields["actual_mass_g"], self.fields["batch"]
            self.fields["reason"].label = "Reason, when skipped"
        else:
            _offer(self.fields["batch"], step.product.batches.filter(archived_at=None), batches)


class OwnDoseForm(DoneAtForm):
    product = forms.ModelChoiceField(label="Product", queryset=Product.objects.none())
    mass_g = NumberField(name="Amount", unit="g", low=SMALLEST_MASS_G, high=LARGEST_MASS_G, places=2)
    reason = forms.CharField(label="Why it is added")
    field_order = ("product", "mass_g", "done_at", "reason")

    def __init__(self, *args: Any, products: Iterable[Product] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        product = _field(self, "product")
        product.queryset = Product.objects.filter(archived_at=None)
        if products is not None:
            product.choices = _choices(product, products)


class TaskForm(DoneAtForm):
    note = forms.CharField(label="Note, or the reason when it is left", required=False)
    field_order = ("done_at", "note")


class PhotoForm(forms.Form):
    photo = forms.FileField(
        label="Photo",
        widget=forms.ClearableFileInput(attrs={"accept": "image/*"}),
        error_messages={"required": "Choose a photo.", "empty": "The file is empty."},
    )
    about = forms.ChoiceField(
        label="What it shows",
        required=False,
        choices=[
            ("", "Not said"),
            ("water", "The water"),
            ("test", "A test"),
            ("spa", "The spa"),
            ("before", "Before the work"),
            ("after", "After the work"),
            *((item.key, item.question) for item in ITEMS),
            *TaskKind.choices,
        ],
    )
    caption = forms.CharField(label="Caption", required=False)


class ReasonForm(forms.Form):
    reason = forms.CharField(label="Why", widget=forms.Textarea(attrs={"rows": 3}), required=False)


class EndForm(forms.Form):
    state = forms.ChoiceField(
        label="How it ended",
        widget=forms.RadioSelect,
        error_messages={"required": "Choose how the visit ended."},
    )
    reason = forms.CharField(label="In a few words", widget=forms.Textarea(attrs={"rows": 3}), required=False)

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        ways = ENDINGS.get(visit.state, ())
        _field(self, "state").choices = [(way, VisitState(way).label) for way in ways]


class HandOverForm(forms.Form):
    to = forms.ModelChoiceField(
        label="To", queryset=Person.objects.none(), error_messages={"required": "Choose who takes it over."}
    )
    reason = forms.CharField(label="Why", widget=forms.Textarea(attrs={"rows": 3}), required=False)

    def __init__(self, *args: Any, people: Iterable[Person], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        listed = list(people)
        to = _field(self, "to")
        to.queryset = Person.objects.filter(pk__in=[person.pk for person in listed])
        to.choices = _choices(to, listed)


class CallOutForm(forms.Form):
    kind = forms.ChoiceField(label="Kind", choices=[("call_out", "Call-out"), ("retest", "Retest")])
    window_from = forms.TimeField(
        label="Not before",
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        error_messages={"invalid": "A time of the day, such as 14:30."},
    )
    instructions = forms.CharField(
        label="What to do",
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"max_length": "At most 2,000 characters."},
    )


class SignForm(forms.Form):
    note_to_owner = forms.CharField(
        label="Note to the owner",
        required=False,
        help_text="Stands in the record. At most 2,000 characters.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    closed = forms.BooleanField(label="Sign it closed until a retest", required=False)
    retest_by = forms.CharField(label="Who tests again, if it stays closed", required=False)
    retest_due = forms.DateTimeField(
        label="Tested again by",
        required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M", "%d/%m/%Y %H:%M"],
        error_messages={"invalid": "A day and a time, such as 2026-05-31 14:30."},
    )
    pin = forms.CharField(
        label="Your signing PIN",
        strip=False,
        error_messages={"required": "Type your signing PIN."},
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    owner_signature = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, organisation: Organisation, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.zone = zone_of(organisation)

    def clean_retest_due(self) -> Any:
        """The moment in the firm's own zone, whatever the server's."""
        moment = self.cleaned_data["retest_due"]
        return moment and moment.replace(tzinfo=self.zone)


def _field(form: forms.Form, name: str) -> Any:
    return form.fields[name]


def _choices(field: Any, loaded: Iterable[Product | Person]) -> list[tuple[str, str]]:
    """The choices of a field, drawn from rows that are loaded already."""
    return [("", field.empty_label), *((str(row.pk), str(row)) for row in loaded)]


def _offer(field: Any, allowed: Any, loaded: Iterable[Batch]) -> None:
    """What may be chosen, drawn from rows that are loaded already."""
    field.queryset = allowed
    field.choices = [("", "Not said"), *((str(batch.pk), _batch(batch)) for batch in loaded)]


def _batch(batch: Batch) -> str:
    return f"{batch.code}, use by {batch.expires_on:%b %Y}" if batch.expires_on else batch.code
