"""The readings of a visit: figure, band line, judgement, and what the last visits read."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any, TypeAlias

from reportlab.platypus import Flowable

from reports.paper.band import BandPicture
from reports.paper.pieces import Across, Cell, gap, section, table, words
from reports.quantities import figure
from reports.record.judged import (
    Findings,
    band_of,
    bands_at,
    derived,
    error_scale,
    findings_at,
    governing,
    verdict_on,
)
from reports.record.reader import Edition, in_unit, label_of, unit_of, value_words
from reports.record.sources import Sources
from service.chemistry.guidelines import Band
from service.shell.clock import local_day
from service.stock.models import Method
from service.visits.models import Moment, Record
from service.visits.parameters import TESTS

Row: TypeAlias = list[Cell] | Across
# A reading, dose or finding as the record's content holds it.
Reading: TypeAlias = Mapping[str, Any]

LAST_VISITS = 3
_NAME, _VALUE, _LAST = 104.0, 78.0, 40.0
_ORDER: Mapping[str, int] = {test.parameter: place for place, test in enumerate(TESTS)}
HOW_TO_READ = (
    "How to read the lines: thick grey is the guideline's range, thicker its ideal; the upright stroke is "
    "this reading with its ± above it; the hollow mark is the reading of the visit before."
)
AMENDED_SINCE = "* That visit's record has been corrected since; the figures here are as signed."


class _Column:
    """What the table of one moment needs at every row. common: what is said once for all of its readings."""

    def __init__(self, edition: Edition, moment: str, sources: Sources, common: frozenset[str]) -> None:
        self.edition, self.moment, self.sources, self.common = edition, moment, sources, common
        self.bands: Mapping[str, Band] = bands_at(edition, moment)
        self.findings: Findings = findings_at(edition, moment)


def readings_section(edition: Edition, sources: Sources, width: float) -> list[Flowable]:
    if not edition.content["readings"]:
        return section("Readings", words("The water was not tested at this visit."), width=width)
    last = [*edition.earlier[:LAST_VISITS]]
    line_width = 118.0
    verdict = width - _NAME - _VALUE - line_width - _LAST * len(last)
    rows: list[Row] = []
    for moment in Moment:
        if readings := _read_at(edition, moment):
            column = _Column(edition, moment, sources, _common(edition, readings))
            rows.append(Across(_heading(column, readings), heading=True))
            rows += _rows(column, readings, last, line_width - 14)
    heads = ["Test", "Reading", "Against the guideline", "", *(_day(edition, record) for record in last)]
    widths = [_NAME, _VALUE, line_width, verdict, *[_LAST] * len(last)]
    explained = [words(text, "soft") for text in (HOW_TO_READ, _amended_since(edition, last)) if text]
    return section("Readings", table(heads, rows, widths), gap(1.5), *explained, width=width)


def _read_at(edition: Edition, moment: str) -> list[Reading]:
    """The readings of a moment in the order of the work; repeats after the one that was judged."""
    readings = [each for each in edition.content["readings"] if each["moment"] == moment]
    return sorted(
        readings, key=lambda each: (_ORDER.get(each["parameter"], len(_ORDER)), not each["governs"])
    )


def _common(edition: Edition, readings: Sequence[Reading]) -> frozenset[str]:
    """What holds for every one of the readings: the instrument, who read it."""
    return frozenset.intersection(*(frozenset(_how(edition, each)) for each in readings))


def _heading(column: _Column, readings: Sequence[Reading]) -> list[Flowable]:
    edition = column.edition
    times = sorted({edition.clock_of_the_day(each["taken_at"]) for each in readings})
    when = times[0] if len(times) == 1 else f"{times[0]} to {times[-1]}"
    heading = f"{Moment(column.moment).label}, {when}"
    said = [remark for remark in _how(edition, readings[0]) if remark in column.common]
    return [words(heading, "cell strong"), *([words(". ".join(said), "cell soft")] if said else [])]


def _rows(column: _Column, readings: Sequence[Reading], last: list[Record], line_width: float) -> list[Row]:
    edition = column.edition
    rows: list[Row] = []
    for each in readings:
        if each["governs"]:
            rows += [_judged_row(column, each, last, line_width), *_corrections(edition, each)]
        else:
            rows.append(_repeat_row(column, each, last))
    following = derived(governing(edition, column.moment))
    return rows + [_derived_row(column, name, value, last, line_width) for name, value in following.items()]


def _judged_row(column: _Column, reading: Reading, last: list[Record], line_width: float) -> list[Cell]:
    edition, parameter = column.edition, reading["parameter"]
    limits = column.bands.get(parameter)
    line = band_of(
        edition,
        parameter,
        limits,
        value=Decimal(reading["value"]),
        plus_minus=Decimal(reading["plus_minus"]) if reading["plus_minus"] else None,
        bound=reading["bound"],
        last=_last_value(last, parameter),
    )
    verdict = verdict_on(edition, parameter, line, limits, column.findings, column.sources)
    return [
        [words(label_of(parameter), "cell"), *_remarks(column, reading)],
        _figure(edition, reading),
        BandPicture(line, line_width) if line else "",
        verdict,
        *(_earlier(edition, record, parameter) for record in last),
    ]


def _repeat_row(column: _Column, reading: Reading, last: list[Record]) -> list[Cell]:
    return [
        [words(label_of(reading["parameter"]), "cell soft"), *_remarks(column, reading)],
        words(_read(column.edition, reading), "cell soft"),
        "",
        words("another test of the same, not the one that was judged", "cell soft"),
        *[""] * len(last),
    ]


def _derived_row(
    column: _Column, parameter: str, value: Decimal, last: list[Record], line_width: float
) -> list[Cell]:
    edition, limits = column.edition, column.bands.get(parameter)
    line = band_of(edition, parameter, limits, value=value)
    return [
        [words(label_of(parameter), "cell"), words("total less free", "cell soft")],
        words(value_words(parameter, str(value), us_units=edition.us_units), "figure"),
        BandPicture(line, line_width) if line else "",
        verdict_on(edition, parameter, line, limits, column.findings, column.sources),
        *(_earlier(edition, record, parameter) for record in last),
    ]


def _figure(edition: Edition, reading: Reading) -> list[Flowable]:
    shown: list[Flowable] = [words(_read(edition, reading), "figure")]
    if reading["plus_minus"]:
        error = Decimal(reading["plus_minus"]) * error_scale(edition, reading["parameter"])
        shown.append(words(f"± {figure(error)}", "cell soft"))
    return shown


def _read(edition: Edition, reading: Reading) -> str:
    """The figure as it was typed where it was typed in the unit shown, else worked out from it."""
    parameter, us_units = reading["parameter"], edition.us_units
    unit = unit_of(parameter, us_units=us_units)
    own = reading["typed_unit"] in {unit, ""} or (reading["typed_unit"] == "ppm" and unit == "mg/L")
    if own and Decimal(reading["dilution_factor"]) == 1 and not reading["converted_from"]:
        sign = {"<": "less than ", ">": "more than "}.get(reading["bound"], "")
        return f"{sign}{reading['typed'].lstrip('<> ').replace(',', '.')} {unit}".rstrip()
    return value_words(parameter, reading["value"], us_units=us_units, bound=reading["bound"])


def _how(edition: Edition, reading: Reading) -> list[str]:
    """With what and by whom it was read, and what was wrong with the instrument."""
    instrument = reading["instrument"] or {}
    method = Method(reading["method"]).label if reading["method"] else ""
    with_what = instrument.get("name") or method
    serial = f", serial {instrument['serial']}" if instrument.get("serial") else ""
    said = [f"{with_what}{serial}", edition.person(reading["taken_by"]), instrument.get("remark", "")]
    return [remark.rstrip(".") for remark in said if remark]


def _remarks(column: _Column, reading: Reading) -> list[Flowable]:
    """What stands under the name of a reading: only what is not said for all of them."""
    remarks = [remark for remark in _how(column.edition, reading) if remark not in column.common]
    if reading["converted_from"]:
        scale = label_of(reading["converted_from"]).lower()
        remarks.append(f"Read on the pad for {scale} as {reading['typed']}")
    remarks.append(_dilution(reading))
    return [words(remark, "cell soft") for remark in remarks if remark]


def _dilution(reading: Reading) -> str:
    factor = Decimal(reading["dilution_factor"])
    if factor == 1:
        return ""
    return f"Sample diluted {figure(factor)} times, read {reading['typed']}."


def _corrections(edition: Edition, reading: Reading) -> list[Across]:
    label, moment = label_of(reading["parameter"]), Moment(reading["moment"]).label
    names = [f"{label} {moment}"]
    if sum(each["parameter"] == reading["parameter"] for each in edition.content["readings"]) == 1:
        names.append(label)
    return corrections(edition, *names)


def corrections(edition: Edition, *names: str) -> list[Across]:
    """What amendments say of the line called by any of ``names``, as rows to stand under it."""
    return [
        Across(
            [
                words(
                    f"Amended: it should say {amendment.becomes}, not {amendment.was} (amendment {number})",
                    "cell strong",
                )
            ]
        )
        for number, amendment in edition.corrections_of(*names)
    ]


def _day(edition: Edition, record: Record) -> str:
    """The day of an earlier visit, marked where its record has been corrected since."""
    day = local_day(record.signed_at, edition.organisation.time_zone).split(" ")
    return f"{day[1]} {day[2]}{'*' if _is_amended(edition, record) else ''}"


def _is_amended(edition: Edition, record: Record) -> bool:
    return any(amendment.made_at <= edition.as_of for amendment in record.amendments.all())


def _amended_since(edition: Edition, last: Sequence[Record]) -> str:
    amended = any(_is_amended(edition, record) for record in last)
    return (
        "* That visit's record has been corrected since; the figures here are as signed." if amended else ""
    )


def _earlier(edition: Edition, record: Record, parameter: str) -> Flowable:
    left = _left_at(record)
    if parameter in left:
        value = left[parameter]
        shown = in_unit(parameter, Decimal(value["value"]), us_units=edition.us_units)
        return words(f"{value['bound']}{figure(shown)}", "cell")
    following = derived(left)
    return words(figure(following[parameter]) if parameter in following else "–", "cell")


def _last_value(last: list[Record], parameter: str) -> Decimal | None:
    value = _left_at(last[0]).get(parameter) if last else None
    return Decimal(value["value"]) if value else None


def _left_at(record: Record) -> dict[str, Reading]:
    """The readings with which an earlier visit left the water, by parameter: the last that was judged."""
    judged = [each for each in record.content["readings"] if each["governs"]]
    judged.sort(key=lambda each: datetime.fromisoformat(each["taken_at"]))
    return {each["parameter"]: each for each in judged}
