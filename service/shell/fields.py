"""Form fields for numbers with a unit: limits said in words, keypads that fit, and − / + beside readings."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError


def plain(number: Decimal | float) -> str:
    """A number as people write it: no exponent, no trailing zeros, thousands set apart.

    >>> plain(Decimal("20000")), plain(Decimal("7.20")), plain(0.5)
    ('20,000', '7.2', '0.5')
    """
    text = f"{Decimal(str(number)):,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


class NumberInput(forms.TextInput):
    """A text input with a number keypad, its unit after it.

    Text, because a browser empties a ``type=number`` input that it cannot read, and nothing typed
    may be lost.
    """

    template_name = "shell/widgets/number.html"

    def __init__(self, *, unit: str = "", whole: bool = False, attrs: dict[str, Any] | None = None) -> None:
        keypad = {"inputmode": "numeric" if whole else "decimal", "autocomplete": "off"}
        super().__init__(attrs=keypad | (attrs or {}))
        self.unit = unit

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        return super().get_context(name, value, attrs) | {"unit": self.unit}


class ReadingInput(NumberInput):
    """The large figure of a reading with − and + beside it.

    step   What one press adds, as written: "0.1".
    start  Where the first press begins in an empty field: usually the last reading.
    """

    template_name = "shell/widgets/reading.html"

    def __init__(self, *, unit: str = "", step: str = "1", start: str = "") -> None:
        super().__init__(unit=unit, whole="." not in step, attrs={"data-step": step, "maxlength": "12"})
        if start:
            self.attrs["data-start"] = start


class NumberField(forms.DecimalField):
    """A number with its unit and limits; every message says the limit and the unit.

    label_name  How a message calls it: "Volume". ``low``/``high`` are inclusive.
    places      Most decimals that are kept. A decimal comma is read as a point.
    """

    def __init__(
        self,
        *,
        name: str,
        unit: str = "",
        low: Decimal | float | None = None,
        high: Decimal | float | None = None,
        places: int = 0,
        widget: forms.Widget | None = None,
        **kwargs: Any,
    ) -> None:
        self.limits = limits_in_words(low, high, unit)
        kwargs.setdefault("label", name)
        kwargs.setdefault("help_text", self.limits[:1].upper() + self.limits[1:])
        super().__init__(
            min_value=None if low is None else Decimal(str(low)),
            max_value=None if high is None else Decimal(str(high)),
            decimal_places=places,
            max_digits=16,
            widget=widget or NumberInput(unit=unit, whole=places == 0),
            error_messages=_messages(name, self.limits, places),
            **kwargs,
        )
        # Django would add min/max/step, which browsers check in their own words and only for type=number.
        for attribute, limit in (("data-low", low), ("data-high", high)):
            if limit is not None:
                self.widget.attrs[attribute] = f"{Decimal(str(limit)):f}"

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        return super().to_python(_with_point(value) if isinstance(value, str) else value)

    def run_validators(self, value: Any) -> None:
        """Say each thing once: a number far out of range breaks several rules with one message."""
        try:
            super().run_validators(value)
        except ValidationError as error:
            raise ValidationError(list(dict.fromkeys(error.messages))) from error

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {}


def _with_point(typed: str) -> str:
    """What was typed with a decimal point and a plain minus.

    "1,250" may mean 1250 or 1.25, so it is refused instead of guessed.

    >>> _with_point(" 7,4 "), _with_point("−2")
    ('7.4', '-2')
    """
    text = typed.strip().replace("−", "-")
    before, comma, after = text.partition(",")
    if not comma:
        return text
    if len(after) == 3 and after.isdigit():
        meant = f"Write {before}{after} or {before}.{after}: a comma can mean either."
        raise ValidationError(meant, code="invalid")
    return f"{before}.{after}"


def limits_in_words(low: Decimal | float | None, high: Decimal | float | None, unit: str) -> str:
    """The limits as a phrase.

    >>> limits_in_words(100, 20000, "L"), limits_in_words(0, None, "mg/L"), limits_in_words(None, None, "")
    ('from 100 to 20,000 L', '0 mg/L or more', '')
    """
    after = f" {unit}" if unit else ""
    if low is not None and high is not None:
        return f"from {plain(low)} to {plain(high)}{after}"
    if low is not None:
        return f"{plain(low)}{after} or more"
    if high is not None:
        return f"{plain(high)}{after} or less"
    return f"in {unit}" if unit else ""


class _AsWritten(str):
    """A message that Django must not take for a template: "at most 100 %" is whole as it stands."""

    __slots__ = ()

    def __mod__(self, _: object) -> str:
        return str(self)


def _messages(name: str, limits: str, places: int) -> dict[str, str]:
    expected = f"{name} must be {limits}." if limits else f"{name} must be a number."
    messages = {
        "required": f"{name} is missing: a number {limits}.".replace(" .", "."),
        "invalid": f"{name} must be a number{', ' if limits else ''}{limits}.",
        "min_value": expected,
        "max_value": expected,
        "max_decimal_places": f"{name} must be {_decimals(places)}.",
        "max_digits": expected,
        "max_whole_digits": expected,
    }
    return {code: _AsWritten(message) for code, message in messages.items()}


def _decimals(places: int) -> str:
    """What precision is wanted, in words."""
    few = {0: "a whole number", 1: "a number with one decimal at most"}
    return few.get(places, f"a number with {places} decimals at most")
