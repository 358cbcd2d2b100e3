"""What is answered while looking: one small form a line of the inspection."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.base import File

from service.visits.inspection import ITEMS, InspectionItem
from service.visits.models import Answer, Visit


class InspectionLineForm(forms.Form):
    answer = forms.ChoiceField(
        label="Answer", choices=Answer.choices, required=False, widget=forms.RadioSelect
    )
    note = forms.CharField(label="Note", required=False)
    photo = forms.FileField(
        label="Photo of it",
        required=False,
        widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
        error_messages={"empty": "The file is empty."},
    )


@dataclass
class LookSheet:
    """The lines of the inspection in order, each with its form."""

    lines: list[tuple[InspectionItem, InspectionLineForm]]

    @property
    def forms(self) -> list[forms.Form]:
        return [form for _, form in self.lines]

    def answers(self) -> dict[str, tuple[str, str]]:
        """What was answered, by item. A line with neither answer nor note is left as it was."""
        return {
            item.key: (form["answer"].value() or "", form["note"].value() or "")
            for item, form in self.lines
            if form["answer"].value() or form["note"].value()
        }

    def photos(self) -> dict[str, File[bytes]]:
        """Photos that were chosen, by item."""
        return {item.key: upload for item, form in self.lines if (upload := form["photo"].data)}

    def tell(self, wrong: ValidationError) -> None:
        """Put the reasons at their lines: those of a photo, under "key.photo", at the photo."""
        by_key = {item.key: form for item, form in self.lines}
        for name, reasons in wrong.message_dict.items():
            key, _, field = name.partition(".")
            by_key[key].add_error(field or "note", reasons)


def look_sheet(visit: Visit, draft: Mapping[str, Any], posted: Any = None, files: Any = None) -> LookSheet:
    """The sheet as saved, with what was typed and not saved over it; or as posted."""
    saved = {line.item: line for line in visit.inspection.all()}
    lines = []
    for item in ITEMS:
        line = saved.get(item.key)
        initial = {"answer": line.answer, "note": line.note} if line else {}
        form = InspectionLineForm(
            posted, files, prefix=item.key, initial=typed_over(initial, draft, item.key)
        )
        form.fields["note"].widget.attrs["aria-label"] = f"Note: {item.question}"
        form.fields["photo"].widget.attrs["aria-label"] = f"Photo: {item.question}"
        lines.append((item, form))
    return LookSheet(lines)


def typed_over(saved: Mapping[str, Any], draft: Mapping[str, Any], prefix: str) -> dict[str, Any]:
    """A form's values with the draft's over them; a draft's keys carry the form's prefix."""
    begins = f"{prefix}-"
    typed = {key.removeprefix(begins): value for key, value in draft.items() if key.startswith(begins)}
    return {**saved, **typed}
