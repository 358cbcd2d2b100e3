"""What is read: one row a test of the water, all as typed; the use case says what a figure may be."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from service.chemistry.guidelines import Band
from service.shell import fields
from service.shell.bandline import BandLine, limits_phrase
from service.stock.models import Instrument, Method
from service.visits.bands import line_of, short
from service.visits.clock import zone_of
from service.visits.forms_look import typed_over
from service.visits.models import Bound, Reading, Visit
from service.visits.parameters import BY_PARAMETER, Test, tests_for
from service.visits.readings import ReadingInput

RARELY = ("borate_mg_l", "sulfate_mg_l", "orp_mv", "turbidity_ntu")
PADS = {"free_chlorine_mg_l", "total_bromine_mg_l"}


class ReadingForm(forms.Form):
    value = forms.CharField(required=False)
    bound = forms.ChoiceField(
        label="Beyond the test",
        required=False,
        choices=[("", "No"), (Bound.BELOW, "< below it"), (Bound.ABOVE, "> above it")],
    )
    method = forms.ChoiceField(label="Method", required=False, choices=[("", "As above"), *Method.choices])
    instrument = forms.ChoiceField(label="Instrument", required=False)
    dilution_factor = forms.CharField(label="Diluted, times", required=False)
    plus_minus = forms.CharField(label="±, if not the usual", required=False)
    pad = forms.ChoiceField(
        label="Strip scale",
        required=False,
        choices=[("", "The spa's own"), ("chlorine", "Chlorine"), ("bromine", "Bromine")],
    )
    repeat = forms.BooleanField(label="A further test: keep the first one too", required=False)


class SheetForm(forms.Form):
    method = forms.ChoiceField(label="Method", required=False, choices=[("", "Not said"), *Method.choices])
    instrument = forms.ChoiceField(label="Instrument", required=False)


class WithdrawForm(forms.Form):
    """One of the readings of a moment, and why it is taken back."""

    reading = forms.ChoiceField(
        label="Which one",
        widget=forms.RadioSelect,
        error_messages={
            "required": "Choose the reading that is taken back.",
            "invalid_choice": "This reading is not there any more.",
        },
    )
    reason = forms.CharField(label="Why", required=False, help_text="At most 400 characters.")

    def __init__(self, *args: Any, readings: Iterable[Reading], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["reading"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(str(reading.pk), _named(reading)) for reading in readings]


def _named(reading: Reading) -> str:
    figure = f"{reading.bound}{reading.typed} {reading.typed_unit}".rstrip()
    at = reading.taken_at.astimezone(zone_of(reading.organisation))
    return f"{BY_PARAMETER[reading.parameter].label} {figure}, {at:%H:%M}"


@dataclass
class Row:
    """One test on the sheet: its form, the reading saved, the one of last time, and the picture."""

    test: Test
    form: ReadingForm
    reading: Reading | None
    last: Reading | None
    line: BandLine | None
    band: Band | None
    repeats: list[Reading]

    @property
    def last_value(self) -> str:
        return f"{self.last.bound}{short(self.last.value)} {self.test.unit}".rstrip() if self.last else ""

    @property
    def limits(self) -> str:
        """The guideline's range in words: "3 to 10 mg/L"; "" where it states none."""
        return limits_phrase(self.band.low, self.band.high, self.test.unit) if self.band else ""

    @property
    def is_open(self) -> bool:
        """Whether the lesser fields hold something that has to be seen."""
        names = ("bound", "dilution_factor", "plus_minus", "pad")
        return any(
            self.form[name].value() not in (None, "", "1") for name in names if name in self.form.fields
        )


@dataclass
class TestSheet:
    """All tests of one moment, in the order of the work."""

    __test__ = False

    moment: str
    head: SheetForm
    rows: list[Row]
    instruments: Mapping[str, Instrument]

    @property
    def forms(self) -> list[forms.Form]:
        return [self.head, *(row.form for row in self.rows)]

    @property
    def usual(self) -> list[Row]:
        return [row for row in self.rows if not row.test.laboratory and row.test.parameter not in RARELY]

    @property
    def rare(self) -> list[Row]:
        return [row for row in self.rows if row.test.laboratory or row.test.parameter in RARELY]

    @property
    def rare_is_open(self) -> bool:
        return any(row.form["value"].value() or row.form.errors for row in self.rare)

    def inputs(self) -> list[ReadingInput]:
        """Every row as the use case takes it."""
        return [self._input(row) for row in self.rows]

    def _input(self, row: Row) -> ReadingInput:
        typed = {name: str(row.form[name].value() or "") for name in row.form.fields}
        instrument = typed["instrument"] or str(self.head["instrument"].value() or "")
        return ReadingInput(
            parameter=row.test.parameter,
            value=typed["value"],
            bound=typed["bound"],
            method=typed["method"] or ("" if typed["instrument"] else str(self.head["method"].value() or "")),
            instrument=self.instruments.get(instrument),
            dilution_factor=typed.get("dilution_factor") or "1",
            plus_minus=typed["plus_minus"],
            pad=typed.get("pad", ""),
            repeat=bool(row.form["repeat"].value()),
        )

    def tell(self, wrong: ValidationError) -> None:
        """Put the reasons at their rows."""
        by_parameter = {row.test.parameter: row.form for row in self.rows}
        for parameter, reasons in wrong.message_dict.items():
            by_parameter[parameter].add_error("value", reasons)


@dataclass(frozen=True)
class Beside:
    """What stands beside the fields: instruments, limits, last time's readings, expected water."""

    instruments: Sequence[Instrument]
    bands: Mapping[str, Band]
    previous: Mapping[str, Reading]
    expected: Mapping[str, Any]


def reading_sheet(
    visit: Visit,
    moment: str,
    standing: Sequence[Reading],
    beside: Beside,
    draft: Mapping[str, Any],
    posted: Any = None,
) -> TestSheet:
    """The sheet of one moment as saved, with what was typed and not saved over it; or as posted.

    standing  Readings of this moment that are still readings of the water as it is.
    """
    saved = {reading.parameter: reading for reading in standing}
    choices = [("", "Not said"), *((str(item.pk), str(item)) for item in beside.instruments)]
    head = SheetForm(posted, prefix=moment, initial=typed_over(_head(standing), draft, moment))
    _choices(head, choices)
    rows = [
        _row(visit, moment, test, saved.get(test.parameter), beside, draft, posted, choices)
        for test in tests_for(visit.spa)
    ]
    return TestSheet(moment, head, rows, {str(item.pk): item for item in beside.instruments})


def _head(standing: Sequence[Reading]) -> dict[str, Any]:
    first = next((reading for reading in standing if reading.method or reading.instrument_id), None)
    return {"method": first.method, "instrument": first.instrument_id or ""} if first else {}


def _row(
    visit: Visit,
    moment: str,
    test: Test,
    reading: Reading | None,
    beside: Beside,
    draft: Mapping[str, Any],
    posted: Any,
    choices: list[tuple[str, str]],
) -> Row:
    prefix = f"{moment}-{test.parameter}"
    last, limits = beside.previous.get(test.parameter), beside.bands.get(test.parameter)
    form = ReadingForm(posted, prefix=prefix, initial=typed_over(_initial(reading), draft, prefix))
    _choices(form, [("", "As above"), *choices[1:]])
    start = f"{short(last.value):f}" if last else ""
    value = form.fields["value"]
    value.label = test.label
    value.widget = fields.ReadingInput(unit=test.unit, step=f"{test.step:f}", start=start)
    value.widget.attrs.update(_drawn(limits))
    if test.parameter not in PADS:
        del form.fields["pad"]
    if not test.dilutable:
        del form.fields["dilution_factor"]
    same = [
        other for other in visit.readings.all() if (other.parameter, other.moment) == (test.parameter, moment)
    ]
    expected = beside.expected.get(test.parameter)
    line = line_of(test.parameter, limits, reading=reading, last=last, expected=expected)
    return Row(test, form, reading, last, line, limits, same if len(same) > 1 else [])


def _drawn(limits: Band | None) -> dict[str, str]:
    """The limits for the script that says where a figure stands while it is typed."""
    if limits is None:
        return {}
    ends = {"data-band-low": limits.low, "data-band-high": limits.high}
    return {name: f"{end:g}" for name, end in ends.items() if end is not None}


def _choices(form: forms.Form, choices: list[tuple[str, str]]) -> None:
    field = form.fields["instrument"]
    assert isinstance(field, forms.ChoiceField)
    field.choices = choices


def _initial(reading: Reading | None) -> dict[str, Any]:
    if reading is None:
        return {}
    return {
        "value": reading.typed,
        "bound": reading.bound,
        "method": reading.method,
        "instrument": reading.instrument_id or "",
        "dilution_factor": "" if reading.dilution_factor == 1 else f"{short(reading.dilution_factor):f}",
        "plus_minus": "" if reading.plus_minus is None else f"{short(reading.plus_minus):f}",
    }
