"""Numbers of products as people write them."""

from decimal import Decimal

from django import template

from service.shell.fields import plain as written

register = template.Library()


@register.filter
def percent(fraction: Decimal) -> str:
    """``{{ product.active_fraction|percent }}``: 0.12500 is "12.5"."""
    return written(fraction * 100)


@register.filter
def plain(number: Decimal) -> str:
    """``{{ product.density_g_ml|plain }}``: 1.200 is "1.2"."""
    return written(number)
