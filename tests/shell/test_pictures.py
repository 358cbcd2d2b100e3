"""What becomes of a photo on its way in: real files, made here, good and bad."""

import random
import struct
import zlib
from io import BytesIO

import pytest
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile, TemporaryUploadedFile
from PIL import ExifTags, Image, ImageCms
from PIL.PngImagePlugin import PngInfo

from service.shell.pictures import LONGEST_SIDE_PX, clean_photo

RED, BLUE = (200, 30, 30), (30, 30, 200)


def upload(content: bytes, name: str = "photo.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content, content_type="image/jpeg")


def encoded(picture: Image.Image, kind: str = "JPEG", **options: object) -> bytes:
    file = BytesIO()
    picture.save(file, kind, **options)
    return file.getvalue()


def red_above_blue(width: int = 60, height: int = 40) -> Image.Image:
    picture = Image.new("RGB", (width, height), RED)
    picture.paste(BLUE, (0, height // 2, width, height))
    return picture


def cleaned(content: bytes) -> Image.Image:
    return Image.open(clean_photo(upload(content)))


def is_near(pixel: object, colour: tuple[int, int, int], within: int = 12) -> bool:
    return all(abs(a - b) <= within for a, b in zip(pixel, colour, strict=True))


def refusal(content: bytes) -> str:
    with pytest.raises(ValidationError) as refused:
        clean_photo(upload(content))
    return refused.value.message


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_picture_becomes_a_jpeg(kind: str) -> None:
    picture = cleaned(encoded(red_above_blue(), kind))

    assert picture.format == "JPEG"
    assert picture.size == (60, 40)
    assert is_near(picture.getpixel((30, 5)), RED)
    assert is_near(picture.getpixel((30, 35)), BLUE)


def test_the_same_photo_gives_the_same_bytes() -> None:
    content = encoded(red_above_blue())

    assert clean_photo(upload(content)).read() == clean_photo(upload(content)).read()


@pytest.mark.parametrize(
    ("width", "height", "expected"),
    [(4000, 3000, (1600, 1200)), (3000, 4000, (1200, 1600)), (1600, 900, (1600, 900)), (1, 1, (1, 1))],
    ids=["wide", "tall", "just fits", "one pixel"],
)
def test_a_large_picture_is_made_small_and_a_small_one_kept(
    width: int, height: int, expected: tuple[int, int]
) -> None:
    assert cleaned(encoded(red_above_blue(width, height))).size == expected
    assert max(expected) <= LONGEST_SIDE_PX


# The eight orientations of Exif 2.32 (CIPA DC-008-2019), table 6: where the 0th row and column are.
@pytest.mark.parametrize(
    ("orientation", "red_is_at"),
    [
        (1, "top"),
        (2, "top"),
        (3, "bottom"),
        (4, "bottom"),
        (5, "left"),
        (6, "right"),
        (7, "right"),
        (8, "left"),
    ],
)
def test_a_picture_is_turned_upright(orientation: int, red_is_at: str) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation

    picture = cleaned(encoded(red_above_blue(), exif=exif))

    middle_x, middle_y = picture.width // 2, picture.height // 2
    points = {
        "top": (middle_x, 3),
        "bottom": (middle_x, picture.height - 4),
        "left": (3, middle_y),
        "right": (picture.width - 4, middle_y),
    }
    assert is_near(picture.getpixel(points[red_is_at]), RED)
    assert picture.size == ((60, 40) if orientation < 5 else (40, 60))


def test_place_time_camera_and_comments_are_gone() -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "Secretmaker"
    exif[ExifTags.Base.DateTime] = "2026:05:01 10:00:00"
    place = exif.get_ifd(ExifTags.IFD.GPSInfo)
    place[ExifTags.GPS.GPSLatitudeRef] = "N"
    place[ExifTags.GPS.GPSLatitude] = (54.0, 22.0, 11.0)
    content = encoded(red_above_blue(), exif=exif, comment=b"secret comment", xmp=b"<x>secret packet</x>")
    assert Image.open(BytesIO(content)).getexif().get_ifd(ExifTags.IFD.GPSInfo)

    result = clean_photo(upload(content)).read()

    picture = Image.open(BytesIO(result))
    assert dict(picture.getexif()) == {}
    assert set(picture.info) == {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert b"ecret" not in result
    assert b"Exif" not in result


def test_text_in_a_png_is_gone() -> None:
    text = PngInfo()
    text.add_text("Comment", "secret words")

    assert b"secret" not in clean_photo(upload(encoded(red_above_blue(), "PNG", pnginfo=text))).read()


def test_see_through_parts_become_white() -> None:
    picture = cleaned(encoded(Image.new("RGBA", (20, 20), (0, 0, 0, 0)), "PNG"))

    assert is_near(picture.getpixel((10, 10)), (255, 255, 255))


@pytest.mark.parametrize("mode", ["L", "CMYK", "P", "1", "LA", "RGBA"])
def test_every_ordinary_kind_of_pixel_is_accepted(mode: str) -> None:
    kind = "JPEG" if mode == "CMYK" else "PNG"

    assert cleaned(encoded(red_above_blue().convert(mode), kind)).mode == "RGB"


def test_colours_are_converted_from_the_profile_and_the_profile_is_dropped() -> None:
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    # A profile whose red primary is sRGB's green, and the other way round: red pixels show as green.
    swapped = srgb.replace(b"rXYZ", b"temp").replace(b"gXYZ", b"rXYZ").replace(b"temp", b"gXYZ")

    picture = cleaned(encoded(red_above_blue(), icc_profile=swapped))

    assert is_near(picture.getpixel((30, 5)), (30, 200, 30))
    assert "icc_profile" not in picture.info


def test_a_profile_that_does_not_fit_the_pixels_is_ignored() -> None:
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    for profile in (lab, b"not a profile"):
        picture = cleaned(encoded(red_above_blue(), icc_profile=profile))

        assert "icc_profile" not in picture.info
        assert is_near(picture.getpixel((30, 5)), RED)


def test_a_photo_larger_than_the_limit_is_refused_by_its_size_alone() -> None:
    with TemporaryUploadedFile("photo.jpg", "image/jpeg", 50 * 2**20, None) as fifty_megabytes:
        fifty_megabytes.truncate(50 * 2**20)

        with pytest.raises(ValidationError) as refused:
            clean_photo(fifty_megabytes)

    assert refused.value.message == "The photo has 50 MB; at most 20 MB can be sent."
    assert settings.PHOTO_MAX_BYTES == 20 * 2**20


def test_an_empty_file_is_refused() -> None:
    assert refusal(b"") == "The file is empty."


def _png_that_claims(width: int, height: int) -> bytes:
    """A PNG of a few hundred bytes whose header asks for ``width`` x ``height`` pixels."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(b"\0" * 100_000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("width", "height"),
    [(7746, 7746), (11_000, 11_000), (60_000, 60_000), (2**31 - 1, 1)],
    ids=["just above", "Pillow warns", "Pillow refuses", "one endless row"],
)
def test_a_decompression_bomb_is_refused_before_it_is_unpacked(width: int, height: int) -> None:
    assert refusal(_png_that_claims(width, height)) == (
        "The photo has too many pixels; at most 60 million can be sent."
    )


@pytest.mark.parametrize(
    "content",
    [
        encoded(red_above_blue(), "GIF"),
        encoded(red_above_blue(), "BMP"),
        encoded(red_above_blue(), "TIFF"),
        b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
        b"%PDF-1.7\n%%EOF",
        b"PK\x03\x04 a document",
        b"just words",
        b"\xff\xd8\xff\xe0" + b"\0" * 40,
        b"<html>" + encoded(red_above_blue()),
    ],
    ids=["gif", "bmp", "tiff", "svg", "pdf", "zip", "words", "jpeg head only", "html before a jpeg"],
)
def test_anything_else_named_as_a_jpeg_is_refused(content: bytes) -> None:
    assert refusal(content) == "This file cannot be read as a photo. Send a JPEG, PNG or WebP picture."


def test_a_page_hidden_behind_a_picture_does_not_come_through() -> None:
    content = encoded(red_above_blue()) + b"<script>alert(1)</script>"

    assert b"script" not in clean_photo(upload(content)).read()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_truncated_picture_is_refused(kind: str) -> None:
    noise = Image.frombytes("RGB", (200, 200), random.Random(1).randbytes(120_000))
    content = encoded(noise, kind)

    assert "cannot be read as a photo" in refusal(content[: len(content) // 2])


@pytest.mark.filterwarnings("ignore::UserWarning")  # Pillow remarks on each damaged tag
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_damaged_picture_is_cleaned_or_refused_and_never_an_error(kind: str) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    content = encoded(red_above_blue(), kind, exif=exif)
    chance = random.Random(20)
    cleaned_count = refused_count = 0
    for _ in range(300):
        damaged = bytearray(content)
        for _ in range(chance.randint(1, 6)):
            damaged[chance.randrange(len(damaged))] = chance.randrange(256)
        try:
            clean_photo(upload(bytes(damaged)))
            cleaned_count += 1
        except ValidationError:
            refused_count += 1

    assert cleaned_count + refused_count == 300
    assert refused_count > 0
