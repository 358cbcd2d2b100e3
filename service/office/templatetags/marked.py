"""Words that were looked for, marked where they stand."""

import re

from django import template
from django.utils.html import format_html, format_html_join
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
        return format_html("{}", text)
    # Split at the words: every second piece is one of them.
    pieces: list[str] = re.split(f"({wanted})", str(text), flags=re.IGNORECASE)
    pieces[1::2] = [format_html("<mark>{}</mark>", piece) for piece in pieces[1::2]]
    return format_html_join("", "{}", ((piece,) for piece in pieces))
