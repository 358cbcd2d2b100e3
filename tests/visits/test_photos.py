"""Photos of a visit: cleaned, kept with their digest, gone without a trace when it fails."""

import hashlib
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from accounts.access import NotAllowed
from service.visits import photos
from service.visits.editing import AlreadySigned, Refused
from service.visits.models import Photo
from service.visits.photos import add_photo, remove_photo
from tests.personas import Firm
from tests.visits.working import planned, signed, started


@pytest.fixture(autouse=True)
def files(settings: Any, tmp_path: Path) -> Path:
    settings.MEDIA_ROOT = tmp_path
    return tmp_path


def upload(content: bytes | None = None) -> SimpleUploadedFile:
    if content is None:
        picture = BytesIO()
        Image.new("RGB", (40, 30), "teal").save(picture, "PNG")
        content = picture.getvalue()
    return SimpleUploadedFile("IMG_0001.png", content, "image/png")


def stored(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def test_a_photo_is_kept_as_a_clean_jpeg_with_the_digest_of_what_is_stored(
    in_firm: Firm, files: Path
) -> None:
    photo = add_photo(
        visit=started(in_firm), upload=upload(), about="cover", caption=" Torn ", by=in_firm.technician
    )

    (file,) = stored(files)
    assert file.read_bytes()[:2] == b"\xff\xd8"
    assert photo.digest == hashlib.sha256(file.read_bytes()).hexdigest()
    assert (photo.caption, photo.about, photo.taken_by) == ("Torn", "cover", in_firm.technician)
    assert f"visits/{photo.visit_id}/{photo.pk}" in photo.file.name


def test_what_is_no_photo_is_said_at_the_field(in_firm: Firm, files: Path) -> None:
    visit = started(in_firm)
    with pytest.raises(ValidationError) as wrong:
        add_photo(visit=visit, upload=upload(b"%PDF-1.7"), about="", caption="", by=in_firm.technician)
    assert list(wrong.value.message_dict) == ["photo"]
    with pytest.raises(ValidationError, match="from the list"):
        add_photo(visit=visit, upload=upload(), about="the dog", caption="", by=in_firm.technician)
    with pytest.raises(ValidationError, match="At most 200 characters"):
        add_photo(visit=visit, upload=upload(), about="", caption="x" * 201, by=in_firm.technician)
    assert stored(files) == []


def test_a_refused_photo_leaves_no_file(in_firm: Firm, stranger: Firm, files: Path) -> None:
    refusals = (
        (planned(in_firm), in_firm.technician, Refused),
        (started(in_firm), stranger.technician, NotAllowed),
    )
    for visit, person, refusal in refusals:
        with pytest.raises(refusal):
            add_photo(visit=visit, upload=upload(), about="", caption="", by=person)
    assert stored(files) == []


def test_a_photo_whose_audit_row_fails_leaves_no_file(
    in_firm: Firm, files: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise OSError("the disk is full")

    visit = started(in_firm)
    monkeypatch.setattr(photos, "note", broken)
    with pytest.raises(OSError, match="disk is full"):
        add_photo(visit=visit, upload=upload(), about="", caption="", by=in_firm.technician)

    assert stored(files) == []
    assert not Photo.objects.exists()


def test_a_visit_holds_a_limited_number_of_photos(in_firm: Firm, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "MOST_PHOTOS", 1)
    visit = started(in_firm)
    add_photo(visit=visit, upload=upload(), about="", caption="", by=in_firm.technician)

    with pytest.raises(ValidationError, match="at most 1 photos"):
        add_photo(visit=visit, upload=upload(), about="", caption="", by=in_firm.technician)


def test_a_removed_photo_takes_its_file_with_it(
    in_firm: Firm, files: Path, django_capture_on_commit_callbacks: Any
) -> None:
    photo = add_photo(visit=started(in_firm), upload=upload(), about="", caption="", by=in_firm.technician)

    with django_capture_on_commit_callbacks(execute=True):
        remove_photo(photo=photo, by=in_firm.technician)

    assert stored(files) == []
    assert not Photo.objects.exists()


def test_a_signed_visit_gains_and_loses_no_photo(in_firm: Firm, files: Path) -> None:
    visit = signed(in_firm)

    with pytest.raises(AlreadySigned):
        add_photo(visit=visit, upload=upload(), about="", caption="", by=in_firm.technician)
    assert stored(files) == []
