"""Photographs that people send in: checked, turned upright, made small, stripped of what they carry.

A phone writes the place, the time and the camera's number into a picture. None of that is kept:
the pixels are drawn anew as a plain JPEG in ordinary screen colours.
"""

from __future__ import annotations

import struct
import zlib
from io import BytesIO

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile, File
from PIL import Image, ImageCms, ImageOps

LONGEST_SIDE_PX = 1600
# Above the sensors of ordinary phones (12 to 50 million); 60 million pixels decode to about 180 MB.
MOST_PIXELS = 60_000_000
READ_FORMATS = ("JPEG", "PNG", "WEBP")
JPEG_QUALITY = 82

_CANNOT_READ = "This file cannot be read as a photo. Send a JPEG, PNG or WebP picture."
# What Pillow raises on broken or hostile files, by format and by how far it got.
_BROKEN = (
    OSError,
    ValueError,
    SyntaxError,
    EOFError,
    LookupError,
    TypeError,
    OverflowError,
    struct.error,
    zlib.error,
)


def clean_photo(upload: File[bytes]) -> ContentFile[bytes]:
    """The upload as a fresh JPEG of at most 1600 px, upright, sRGB, without metadata.

    upload  Any open file with ``size`` in bytes. The type is told from the content, never from
            the name or from what the browser claims.

    Raises ValidationError in plain words when it is empty, larger than ``PHOTO_MAX_BYTES``, not a
    JPEG, PNG or WebP picture, larger than 60 million pixels, or damaged.
    """
    _check_size(upload.size)
    try:
        picture = _open(upload)
        small = _upright_and_small(picture)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as bomb:
        raise ValidationError(_too_many_pixels(), code="pixels") from bomb
    except _BROKEN as broken:
        raise ValidationError(_CANNOT_READ, code="unreadable") from broken
    written = BytesIO()
    small.save(written, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return ContentFile(written.getvalue(), name="photo.jpg")


def _check_size(size: int) -> None:
    if not size:
        raise ValidationError("The file is empty.", code="empty")
    if size > settings.PHOTO_MAX_BYTES:
        megabytes, limit = size / 2**20, settings.PHOTO_MAX_BYTES // 2**20
        raise ValidationError(
            f"The photo has {megabytes:.0f} MB; at most {limit} MB can be sent.", code="size"
        )


def _open(upload: File[bytes]) -> Image.Image:
    """The picture with only its header read, so that a bomb is refused before it is unpacked."""
    upload.seek(0)
    picture = Image.open(upload, formats=READ_FORMATS)
    if picture.width * picture.height > MOST_PIXELS:
        raise Image.DecompressionBombError
    return picture


def _too_many_pixels() -> str:
    return f"The photo has too many pixels; at most {MOST_PIXELS // 1_000_000} million can be sent."


def _upright_and_small(picture: Image.Image) -> Image.Image:
    # A JPEG can be decoded at a half, a quarter or an eighth of its size: less memory, same result.
    picture.draft("RGB", (LONGEST_SIDE_PX, LONGEST_SIDE_PX))
    profile = picture.info.get("icc_profile")
    small = _on_white(ImageOps.exif_transpose(picture))
    small.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX))
    plain = _screen_colours(small, profile)
    plain.info.clear()
    return plain


def _on_white(picture: Image.Image) -> Image.Image:
    if not picture.has_transparency_data:
        return picture.convert("RGB")
    layer = picture.convert("RGBA")
    white = Image.new("RGBA", layer.size, "white")
    return Image.alpha_composite(white, layer).convert("RGB")


def _screen_colours(picture: Image.Image, profile: bytes | None) -> Image.Image:
    """Colours as a screen without the profile shows them: a test strip must keep its shade."""
    if not profile:
        return picture
    try:
        converted = ImageCms.profileToProfile(picture, BytesIO(profile), ImageCms.createProfile("sRGB"))
    except (ImageCms.PyCMSError, OSError):
        # A profile of another colour model, or a damaged one: the bare numbers are the best there is.
        return picture
    return converted or picture
