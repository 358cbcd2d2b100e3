"""A signature that somebody drew on the screen."""

import base64
from io import BytesIO

from django.core.exceptions import ValidationError
from PIL import Image

LARGEST_BYTES = 300_000
MOST_PIXELS = 4_000_000
LONGEST_SIDE_PX = 1000
_BROKEN = (OSError, ValueError, SyntaxError, EOFError, Image.DecompressionBombError)


def signature_text(drawn: bytes | None) -> str:
    """The drawing as a fresh grey PNG on white in base64; "" when nobody drew.

    drawn  A PNG as a page's canvas gives it, at most 300 kB and 4 million pixels.

    Raises ValidationError for ``owner_signature``.
    """
    if not drawn:
        return ""
    if len(drawn) > LARGEST_BYTES:
        raise _wrong(f"The signature is larger than {LARGEST_BYTES // 1000} kB. Draw it again.")
    try:
        picture = Image.open(BytesIO(drawn), formats=["PNG"])
        if picture.width * picture.height > MOST_PIXELS:
            raise _wrong("The signature has too many pixels. Draw it again.")
        grey = _on_white(picture)
    except _BROKEN as broken:
        raise _wrong("The signature cannot be read. Draw it again.") from broken
    darkest, lightest = grey.getextrema()
    if darkest == lightest:
        raise _wrong("The signature is empty. Draw it, or leave it out.")
    grey.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX))
    written = BytesIO()
    grey.save(written, "PNG", optimize=True)
    return base64.b64encode(written.getvalue()).decode()


def _on_white(picture: Image.Image) -> Image.Image:
    layer = picture.convert("RGBA")
    return Image.alpha_composite(Image.new("RGBA", layer.size, "white"), layer).convert("L")


def _wrong(words: str) -> ValidationError:
    return ValidationError({"owner_signature": words})
