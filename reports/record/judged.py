"""What the record found in each reading, and the band line that shows it."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from reports.quantities import figure
from reports.record.reader import Edition, in_unit, label_of, unit_of, value_words
from reports.record.sources import Sources
from service.chemistry.errors import InputError
from service.chemistry.guidelines import Band, Guideline, band, get
from service.chemistry.guidelines.parameters import PARAMETERS as JUDGED
from service.chemistry.readings import PARAMETERS
from service.chemistry.readings import Reading as Measured
from service.shell.bandline import BandLine, band_line, limits_phrase
from service.visits.bands import RULE_ENDS, short

SEVERITIES = ("closure", "out_of_range", "advice")
SEVERITY_WORDS: Mapping[str, str] = {
    "closure": "keeps people out",
    "out_of_range": "out of range",
    "advice": "advice",
}
# As for the tests themselves: common practice, no source.
_DERIVED_ENDS: Mapping[str, tuple[Decimal, Decimal]] = {"combined_chlorine_mg_l": (Decimal(0), Decimal(2))}


@dataclass(frozen=True)
class Findings:
    """What the last decision of one moment found, gravest first; and whether there was a decision."""

    listed: tuple[Mapping[str, Any], ...]
    decided: bool

    def about(self, parameter: str) -> Mapping[str, Any] | None:
        """The gravest finding about a parameter."""
        return next((each for each in self.listed if each["parameter"] == parameter), None)


def findings_at(edition: Edition, moment: str) -> Findings:
    decisions = [each for each in edition.content["decisions"] if each["moment"] == moment]
    if not decisions:
        return Findings((), decided=False)
    found = sorted(decisions[-1]["findings"], key=lambda each: SEVERITIES.index(each["severity"]))
    return Findings(tuple(found), decided=True)


def bands_at(edition: Edition, moment: str) -> dict[str, Band]:
    """The limits for the readings of one moment, by the edition of the guideline that the record names.

    Empty when that edition is no longer at hand: the record then shows its findings alone.
    """
    guideline = _guideline(edition)
    if guideline is None:
        return {}
    spa = edition.content["spa"]
    read = governing(edition, moment)
    measured = {name: _measured(each) for name, each in read.items() if name in PARAMETERS}
    return {
        name: band(guideline, name, sanitiser=spa["sanitiser"], setting=spa["setting"], readings=measured)
        for name in {*read, *derived(read)}
        if name in JUDGED
    }


def governing(edition: Edition, moment: str) -> dict[str, Mapping[str, Any]]:
    """The readings of one moment that were judged, by parameter."""
    return {
        each["parameter"]: each
        for each in edition.content["readings"]
        if each["moment"] == moment and each["governs"]
    }


def derived(read: Mapping[str, Mapping[str, Any]]) -> dict[str, Decimal]:
    """What follows from two readings: combined chlorine is total less free, exact on what was typed."""
    pair = [read.get(f"{kind}_chlorine_mg_l") for kind in ("total", "free")]
    if None in pair or any(each and each["bound"] for each in pair):
        return {}
    total, free = (Decimal(each["value"]) for each in pair if each)
    return {"combined_chlorine_mg_l": total - free}


def band_of(
    edition: Edition,
    parameter: str,
    limits: Band | None,
    *,
    value: Decimal,
    plus_minus: Decimal | None = None,
    bound: str = "",
    last: Decimal | None = None,
) -> BandLine | None:
    """The band line of a figure, in the unit it is shown in; None for a parameter without a picture."""
    ends = RULE_ENDS.get(parameter) or _DERIVED_ENDS.get(parameter)
    if ends is None:
        return None
    low, high, ideal_low, ideal_high = (
        _shown(edition, parameter, end)
        for end in ((limits.low, limits.high, limits.ideal_low, limits.ideal_high) if limits else (None,) * 4)
    )
    start, end = (in_unit(parameter, each, us_units=edition.us_units) for each in ends)
    return band_line(
        name=label_of(parameter),
        unit=unit_of(parameter, us_units=edition.us_units),
        lowest=min([start, *([low] if low is not None else [])]),
        highest=max([end, *([high] if high is not None else [])]),
        low=low,
        high=high,
        ideal_low=ideal_low,
        ideal_high=ideal_high,
        value=_shown(edition, parameter, value),
        plus_minus=None if plus_minus is None else short(plus_minus * error_scale(edition, parameter)),
        bound=bound,
        last=_shown(edition, parameter, last),
    )


def error_scale(edition: Edition, parameter: str) -> Decimal:
    """What a ± is multiplied by to stand beside the number as it is shown."""
    return Decimal("1.8") if unit_of(parameter, us_units=edition.us_units) == "°F" else Decimal(1)


def _shown(edition: Edition, parameter: str, number: Decimal | float | None) -> Decimal | None:
    if number is None:
        return None
    return in_unit(parameter, short(Decimal(str(number))), us_units=edition.us_units)


def verdict_on(
    edition: Edition,
    parameter: str,
    line: BandLine | None,
    limits: Band | None,
    findings: Findings,
    sources: Sources,
) -> str:
    """How a reading stands, with its source: "above 7.8: out of range [1]"."""
    found = findings.about(parameter)
    if found is not None:
        cited = sources.cite(found["source"], found["verified"])
        return f"{_crossed(edition, found)}: {SEVERITY_WORDS[found['severity']]} {cited}"
    if limits is None or not (phrase := _limits(edition, limits)):
        return "no limit in this guideline" if limits is not None else ""
    cited = sources.cite(limits.source, limits.verified)
    if line is not None and (line.judgement == "within" or not findings.decided):
        phrase = f"within {phrase}" if line.judgement == "within" else f"{line.judgement} {phrase}"
    return f"{phrase} {cited}"


def finding_sentence(edition: Edition, found: Mapping[str, Any], questions: Mapping[str, str]) -> str:
    """A finding as a line of the first page: "Free chlorine 0.4 mg/L, below 3: keeps people out"."""
    severity = SEVERITY_WORDS[found["severity"]]
    parameter = found["parameter"]
    if parameter in questions:
        return f"{questions[parameter]} No: {severity}"
    if found["value"] is None:
        return f"{label_of(parameter)} was not measured: {severity}"
    value = value_words(parameter, found["value"], us_units=edition.us_units, bound=found["bound"])
    return f"{label_of(parameter)} {value}, {_crossed(edition, found)}: {severity}"


def _crossed(edition: Edition, found: Mapping[str, Any]) -> str:
    """Which limit a finding is about, in words."""
    if found["value"] is None:
        return "not measured"
    ideal = "the ideal " if found["severity"] == "advice" else ""
    high, low = (
        figure(in_unit(found["parameter"], Decimal(found[end]), us_units=edition.us_units))
        if found[end] is not None
        else ""
        for end in ("high", "low")
    )
    value = Decimal(found["value"])
    if high and value > Decimal(found["high"]):
        return f"above {ideal}{high}"
    if low and value < Decimal(found["low"]):
        return f"below {ideal}{low}"
    if found["near_limit"]:
        return "too close to the limit to tell, repeat by another method"
    return "at a limit that is itself not allowed"


def _limits(edition: Edition, limits: Band) -> str:
    low, high = (_shown(edition, limits.parameter, end) for end in (limits.low, limits.high))
    return limits_phrase(low, high)


def _guideline(edition: Edition) -> Guideline | None:
    """The set by which the record was judged, if it is still the same edition."""
    recorded = edition.content["guideline"]
    try:
        found = get(recorded["id"])
    except InputError:
        return None
    return found if found.edition == recorded.get("edition") else None


def _measured(reading: Mapping[str, Any]) -> Measured:
    return Measured(
        value=float(reading["value"]),
        typed=Decimal(reading["value"]),
        plus_minus=float(reading["plus_minus"]) if reading["plus_minus"] else None,
        method=reading["method"] or None,
        bound=reading["bound"] or None,
        dilution_factor=Decimal(reading["dilution_factor"]),
    )
