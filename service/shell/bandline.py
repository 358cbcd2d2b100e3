"""The band line: where a reading stands against its guideline, as positions and as words.

A thin rule runs from the lowest to the highest sensible value; the guideline's range stands on it
thick, its ideal thicker; today's value is a tick with a ± whisker, the last value a hollow mark, the
value expected after dosing an arrow. Pages and PDFs draw the same positions.
"""

from dataclasses import dataclass
from decimal import Decimal

Number = Decimal | int | float


@dataclass(frozen=True)
class Mark:
    """One value on the line. ``at`` is 0 to 1; ``beyond`` says when it lies off the end: -1, 0 or 1."""

    at: float
    beyond: int = 0


@dataclass(frozen=True)
class BandLine:
    """Positions from 0 (lowest) to 1 (highest), and the words that stand beside the picture.

    band, ideal, whisker  Ranges (from, to); None where there is none.
    words                 "pH 8.1 ± 0.1, above 7.8"
    judgement             "above", "below", "within" or "" (no value, or no limit).
    also                  Further sentences: limits, last value, expected value.
    """

    name: str
    unit: str
    lowest: str
    highest: str
    band: tuple[float, float] | None
    ideal: tuple[float, float] | None
    value: Mark | None
    whisker: tuple[float, float] | None
    last: Mark | None
    expected: Mark | None
    judgement: str
    words: str
    also: tuple[str, ...]


def band_line(
    *,
    name: str,
    lowest: Number,
    highest: Number,
    unit: str = "",
    low: Number | None = None,
    high: Number | None = None,
    ideal_low: Number | None = None,
    ideal_high: Number | None = None,
    value: Number | None = None,
    plus_minus: Number | None = None,
    bound: str = "",
    last: Number | None = None,
    expected: Number | None = None,
) -> BandLine:
    """The band line of one parameter.

    lowest, highest        Ends of the rule: the sensible values, lowest < highest (else ValueError).
    low, high              The guideline's limits, either may be None; inclusive.
    ideal_low, ideal_high  The guideline's ideal range, where it states one.
    value, plus_minus      Today's reading and its ±; ``bound`` "<" or ">" when it is beyond the method.
    last, expected         The reading before, and the value expected after dosing.

    >>> line = band_line(name="pH", lowest=6, highest=9, low=Decimal("7.2"), high=Decimal("7.8"),
    ...                  value=Decimal("8.1"), plus_minus=Decimal("0.1"))
    >>> line.words, line.judgement, round(line.value.at, 2)
    ('pH 8.1 ± 0.1, above 7.8', 'above', 0.7)
    """
    if not lowest < highest:
        raise ValueError(f"lowest ({lowest}) must be below highest ({highest})")
    start, end = float(lowest), float(highest)

    def at(number: Number) -> float:
        return min(1.0, max(0.0, (float(number) - start) / (end - start)))

    def mark(number: Number | None) -> Mark | None:
        if number is None:
            return None
        return Mark(at(number), (float(number) > end) - (float(number) < start))

    def stretch(bottom: Number | None, top: Number | None) -> tuple[float, float] | None:
        if bottom is None and top is None:
            return None
        return (0.0 if bottom is None else at(bottom), 1.0 if top is None else at(top))

    whisker = None
    if value is not None and plus_minus:
        whisker = (at(float(value) - float(plus_minus)), at(float(value) + float(plus_minus)))
    judgement = judge(value, low, high)
    return BandLine(
        name=name,
        unit=unit,
        lowest=_figure(lowest),
        highest=_figure(highest),
        band=stretch(low, high),
        ideal=stretch(ideal_low, ideal_high),
        value=mark(value),
        whisker=whisker,
        last=mark(last),
        expected=mark(expected),
        judgement=judgement,
        words=_words(name, unit, value, plus_minus, bound, low, high, judgement),
        also=_also(unit, low, high, last, expected, judgement),
    )


def judge(value: Number | None, low: Number | None, high: Number | None) -> str:
    """Where a value as typed stands against inclusive limits: "below", "above", "within", or "" unknown."""
    if value is None or (low is None and high is None):
        return ""
    typed = Decimal(str(value))
    if low is not None and typed < Decimal(str(low)):
        return "below"
    if high is not None and typed > Decimal(str(high)):
        return "above"
    return "within"


def limits_phrase(low: Number | None, high: Number | None, unit: str = "") -> str:
    """The guideline's range in words.

    >>> limits_phrase(3, 5, "mg/L"), limits_phrase(None, Decimal("40.0"), "°C"), limits_phrase(0.1, None)
    ('3 to 5 mg/L', '40 °C or less', '0.1 or more')
    """
    if low is not None and high is not None:
        return _with_unit(f"{_figure(low)} to {_figure(high)}", unit)
    if low is not None:
        return f"{_with_unit(_figure(low), unit)} or more"
    return f"{_with_unit(_figure(high), unit)} or less" if high is not None else ""


def _words(
    name: str,
    unit: str,
    value: Number | None,
    plus_minus: Number | None,
    bound: str,
    low: Number | None,
    high: Number | None,
    judgement: str,
) -> str:
    if value is None:
        return f"{name} not measured"
    spoken = {"<": "less than ", ">": "more than "}.get(bound, "") + _typed(value)
    if plus_minus:
        spoken += f" ± {_typed(plus_minus)}"
    reading = f"{name} {_with_unit(spoken, unit)}"
    if judgement == "above":
        return f"{reading}, above {_figure(high)}"
    if judgement == "below":
        return f"{reading}, below {_figure(low)}"
    return f"{reading}, within {limits_phrase(low, high)}" if judgement else reading


def _also(
    unit: str,
    low: Number | None,
    high: Number | None,
    last: Number | None,
    expected: Number | None,
    judgement: str,
) -> tuple[str, ...]:
    sentences = []
    if judgement != "within" and (limits := limits_phrase(low, high, unit)):
        sentences.append(f"guideline {limits}")
    if last is not None:
        sentences.append(f"last time {_with_unit(_typed(last), unit)}")
    if expected is not None:
        sentences.append(f"expected after dosing {_with_unit(_typed(expected), unit)}")
    return tuple(sentences)


def _with_unit(text: str, unit: str) -> str:
    return f"{text} {unit}" if unit else text


def _typed(number: Number) -> str:
    """A reading keeps the decimals it was typed with: 7.0 stays 7.0."""
    return f"{number:f}" if isinstance(number, Decimal) else f"{number:g}"


def _figure(number: Number | None) -> str:
    """A limit without trailing zeros."""
    if number is None:
        return ""
    text = f"{Decimal(str(number)):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
