"""A ReportLab drawing as SVG that may stand inside a page.

ReportLab writes inline styles and fixed colours. The content security policy refuses the first, and
the second would ignore the dark theme: styles become presentation attributes, and colours that stand
for a role become classes of the stylesheet ("stroke-ink", "fill-band").
"""

import re
from xml.etree import ElementTree

from reportlab.graphics import renderSVG
from reportlab.graphics.shapes import Drawing
from reportlab.lib.colors import Color

_NAMESPACE = "http://www.w3.org/2000/svg"
_LONG_NUMBER = re.compile(r"-?\d+\.\d{3,}")


def inline_svg(drawing: Drawing, *, roles: dict[str, Color], key: str, title: str, text: str) -> str:
    """The drawing as an ``<svg>`` with ``title`` and ``text`` (its description) for screen readers.

    ``key`` must be unique on the page; ``roles`` names the colours that the stylesheet decides.
    """
    root = ElementTree.fromstring(renderSVG.drawToString(drawing).encode())
    named = {_as_written(colour): role for role, colour in roles.items()}
    for parent in list(root.iter()):
        for child in list(parent):
            if _tag(child) in {"clipPath", "title", "desc"}:
                parent.remove(child)
    for element in root.iter():
        element.tag = _tag(element)
        element.attrib.pop("id", None)
        _spread_style(element, named)
        _shorten(element)
    box = root.get("viewBox", "")
    root.attrib.clear()
    root.attrib |= {"viewBox": box, "class": "plot", "role": "img"}
    root.set("aria-labelledby", f"{key}-title {key}-desc")
    for place, (tag, words) in enumerate((("title", title), ("desc", text))):
        element = ElementTree.Element(tag, {"id": f"{key}-{tag}"})
        element.text = words
        root.insert(place, element)
    ElementTree.indent(root, space="")
    return ElementTree.tostring(root, encoding="unicode")


def _tag(element: ElementTree.Element) -> str:
    return element.tag.removeprefix(f"{{{_NAMESPACE}}}")


def _as_written(colour: Color) -> str:
    """The colour as ReportLab's SVG renderer writes it."""
    return "rgb({},{},{})".format(*(f"{int(part * 100)}%" for part in colour.rgb()))


def _spread_style(element: ElementTree.Element, named: dict[str, str]) -> None:
    classes = []
    for declaration in filter(None, element.attrib.pop("style", "").split(";")):
        name, value = (part.strip() for part in declaration.split(":", 1))
        if name in {"stroke", "fill"} and value in named:
            classes.append(f"{name}-{named[value]}")
        elif name in {"stroke", "fill", "stroke-width", "stroke-dasharray"}:
            element.set(name, value.lower())
    if classes:
        element.set("class", " ".join(classes))


def _shorten(element: ElementTree.Element) -> None:
    """Two decimals are a hundredth of a point; more are only bytes."""
    for name, value in element.attrib.items():
        if name not in {"class", "id"}:
            element.set(name, _LONG_NUMBER.sub(lambda number: f"{float(number[0]):.2f}", value))
    if element.get("transform", "x").strip() == "":
        del element.attrib["transform"]
