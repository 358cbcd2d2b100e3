"""Words that were looked for, marked where they stand."""

import re

from django import template
from django.utils.html import escape, format_html, format_html_join
from django.utils.safestring import SafeString

from service.sites.listing import MOST_WORDS

register = template.Library()


@register.filter
def marked(text: str, words: str) -> SafeString:
    """``text`` with each of ``words`` in a ``<mark>``, whatever its case. Both are escaped.

    >>> marked("Heron <Lodge>", "lodge")
    'Heron &lt;<mark>Lodge</mark>&gt;'
    """
    wanted = "|".join(re.escape(word) for word in words.split()[:MOST_WORDS])
    if not wanted:
        return escape(text)
    # Split at the words: every second piece is one of them.
    pieces = re.split(f"({wanted})", str(text), flags=re.IGNORECASE)
    said = (
        f"<mark>{escape(piece)}</mark>" if number % 2 else escape(piece)
        for number, piece in enumerate(pieces)
    )
    return mark_safe("".join(said))
