"""Amounts as people read them: metric, or US units with the metric amount beside them."""

from decimal import ROUND_HALF_UP, Decimal

from service.chemistry.units import GRAMS_PER_OUNCE, LITRES_PER_US_GALLON

_OUNCE_G = Decimal(repr(GRAMS_PER_OUNCE))
_GALLON_L = Decimal(repr(LITRES_PER_US_GALLON))


def figure(value: Decimal | str) -> str:
    """A number without trailing zeros, thousands set apart.

    >>> figure("1250"), figure("115.40"), figure("7.0")
    ('1,250', '115.4', '7')
    """
    text = f"{Decimal(value):,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def mass(grams: Decimal | str, *, us_units: bool) -> str:
    """A mass; an ounce is 28.349523125 g (NIST Special Publication 811, 2008, appendix B.8), a pound 16 oz.

    >>> mass("115.4", us_units=False), mass("12500", us_units=False)
    ('115.4 g', '12.5 kg')
    >>> mass("115.4", us_units=True), mass("1250", us_units=True)
    ('4.1 oz (115.4 g)', '2 lb 12.1 oz (1,250 g)')
    """
    amount = Decimal(grams)
    metric = f"{figure(amount / 1000)} kg" if amount >= 10_000 else f"{figure(amount)} g"
    if not us_units:
        return metric
    pounds, ounces = divmod(_rounded(amount / _OUNCE_G, "0.1"), 16)
    return f"{f'{pounds} lb ' if pounds else ''}{figure(ounces)} oz ({metric})"


def volume(litres: Decimal | str, *, us_units: bool) -> str:
    """A volume of water; a US gallon is 3.785411784 L (NIST Special Publication 811, 2008, B.8).

    >>> volume("1250", us_units=False), volume("1250", us_units=True)
    ('1,250 L', '330 gal (1,250 L)')
    """
    amount = Decimal(litres)
    metric = f"{figure(amount)} L"
    return f"{figure(_rounded(amount / _GALLON_L, '1'))} gal ({metric})" if us_units else metric


def fahrenheit(celsius: Decimal | str) -> Decimal:
    """A temperature in °F, to a tenth.

    >>> fahrenheit("40"), fahrenheit("38.3333")
    (Decimal('104.0'), Decimal('101.0'))
    """
    return _rounded(Decimal(celsius) * 9 / 5 + 32, "0.1")


def percent(fraction: Decimal | str) -> str:
    """A share in percent.

    >>> percent("0.583")
    '58 %'
    """
    return f"{figure(_rounded(Decimal(fraction) * 100, '1'))} %"


def _rounded(value: Decimal, step: str) -> Decimal:
    return value.quantize(Decimal(step), ROUND_HALF_UP)
