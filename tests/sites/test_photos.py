"""Photos of a spa: sent in, captioned, removed, and served to those who may see the spa."""

from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django_scopes import scope
from PIL import ExifTags, Image

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.sites import photos, saving
from service.sites.models import SpaPhoto
from service.sites.photos import add_spa_photo, caption_spa_photo, remove_spa_photo
from tests.personas import Firm


def picture(kind: str = "JPEG", **options: Any) -> bytes:
    file = BytesIO()
    Image.new("RGB", (40, 30), "teal").save(file, kind, **options)
    return file.getvalue()


def upload(content: bytes | None = None, name: str = "tub.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, picture() if content is None else content, content_type="image/jpeg")


@pytest.fixture
def office(firm: Firm, sign_in: Any) -> Any:
    return sign_in(firm.office)


def page(firm: Firm) -> str:
    return reverse("sites:spa_photos", args=[firm.spa.pk])


def stored_files(firm: Firm, settings: Any) -> list[Path]:
    return sorted(Path(settings.MEDIA_ROOT, str(firm.organisation.pk)).rglob("*.jpg"))


def test_a_photo_is_cleaned_kept_and_served_to_whoever_may_see_the_spa(
    firm: Firm, office: Any, sign_in: Any
) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "Secretmaker"
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] = (54.0, 22.0, 11.0)
    sent = upload(picture(exif=exif), name="../../etc/IMG 1.jpg")

    answer = office.post(page(firm), {"upload": sent, "caption": "The plate"}, follow=True)
    assert "The photo is added." in answer.content.decode()

    with scope(organisation=firm.organisation):
        photo = SpaPhoto.objects.get()
    assert photo.file.name == f"{firm.organisation.pk}/spas/{photo.pk}.jpg"
    for person in (firm.office, firm.technician, firm.auditor, firm.rental_manager):
        served = sign_in(person).get(reverse("sites:spa_photo", args=[firm.spa.pk, photo.pk]))
        shown = Image.open(BytesIO(served.content))
        assert (shown.format, shown.size, dict(shown.getexif())) == ("JPEG", (40, 30), {})
        assert b"Secretmaker" not in served.content


def test_a_served_photo_is_never_taken_for_a_page(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        photo = add_spa_photo(spa=firm.spa, upload=upload(), caption="", by=firm.office)

    served = office.get(reverse("sites:spa_photo", args=[firm.spa.pk, photo.pk]))

    assert served["Content-Type"] == "image/jpeg"
    assert served["X-Content-Type-Options"] == "nosniff"
    assert served["Content-Disposition"] == 'inline; filename="spa.jpg"'
    assert served["Content-Security-Policy"] == "sandbox; default-src 'none'"
    assert "private" in served["Cache-Control"]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"just words", "This file cannot be read as a photo. Send a JPEG, PNG or WebP picture."),
        (b'<svg xmlns="http://www.w3.org/2000/svg"/>', "This file cannot be read as a photo."),
        (picture("GIF"), "This file cannot be read as a photo."),
        (picture()[:200], "This file cannot be read as a photo."),
        (b"", "The file is empty."),
    ],
    ids=["words", "svg", "gif", "truncated", "empty"],
)
def test_what_is_no_photo_is_told_at_its_field_and_the_caption_is_kept(
    firm: Firm, office: Any, settings: Any, content: bytes, words: str
) -> None:
    answer = office.post(page(firm), {"upload": upload(content), "caption": "The breaker"})

    assert answer.status_code == 200
    assert answer.context["form"].errors["upload"][0].startswith(words)
    assert 'value="The breaker"' in answer.content.decode()
    assert stored_files(firm, settings) == []


def test_fifty_megabytes_are_refused_with_the_limit(firm: Firm, office: Any, settings: Any) -> None:
    sent = upload(picture() + b"\0" * (50 * 2**20))

    answer = office.post(page(firm), {"upload": sent, "caption": "Large"})

    assert answer.context["form"].errors == {"upload": ["The photo has 50 MB; at most 20 MB can be sent."]}
    assert stored_files(firm, settings) == []


def test_a_form_without_a_photo_is_told(firm: Firm, office: Any) -> None:
    answer = office.post(page(firm), {"caption": "The breaker"})

    assert answer.context["form"].errors == {"upload": ["Choose a photo."]}


def test_a_spa_holds_so_many_photos_and_no_more(in_firm: Firm, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "PHOTOS_PER_SPA", 1)
    add_spa_photo(spa=in_firm.spa, upload=upload(), caption="", by=in_firm.office)

    with pytest.raises(ValidationError, match="This spa has 1 photos, the most it can hold"):
        add_spa_photo(spa=in_firm.spa, upload=upload(), caption="", by=in_firm.office)


def test_a_caption_is_changed(firm: Firm, office: Any) -> None:
    with scope(organisation=firm.organisation):
        photo = add_spa_photo(spa=firm.spa, upload=upload(), caption="Old", by=firm.office)

    office.post(reverse("sites:spa_photo_caption", args=[firm.spa.pk, photo.pk]), {"caption": "New words"})

    assert 'alt="New words"' in office.get(reverse("sites:spa", args=[firm.spa.pk])).content.decode()


def test_a_photo_is_removed_with_its_file_after_being_asked(
    firm: Firm, office: Any, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    with scope(organisation=firm.organisation):
        photo = add_spa_photo(spa=firm.spa, upload=upload(), caption="Plate", by=firm.office)
    url = reverse("sites:spa_photo_remove", args=[firm.spa.pk, photo.pk])
    assert "The picture is deleted for good." in office.get(url).content.decode()

    with django_capture_on_commit_callbacks(execute=True):
        office.post(url)

    with scope(organisation=firm.organisation):
        assert not SpaPhoto.objects.exists()
    assert stored_files(firm, settings) == []


def test_a_file_that_is_gone_is_not_found(firm: Firm, office: Any, settings: Any) -> None:
    with scope(organisation=firm.organisation):
        photo = add_spa_photo(spa=firm.spa, upload=upload(), caption="", by=firm.office)
    stored_files(firm, settings)[0].unlink()

    assert office.get(reverse("sites:spa_photo", args=[firm.spa.pk, photo.pk])).status_code == 404


def test_each_step_has_its_audit_row(in_firm: Firm) -> None:
    photo = add_spa_photo(spa=in_firm.spa, upload=upload(), caption="", by=in_firm.office)
    caption_spa_photo(photo=photo, caption="Plate", by=in_firm.office)
    remove_spa_photo(photo=photo, by=in_firm.office)

    actions = AuditEvent.objects.order_by("id").values_list("action", flat=True)
    assert list(actions) == ["spa.photo_added", "spa.photo_captioned", "spa.photo_removed"]


def test_people_who_only_read_change_no_photo(in_firm: Firm) -> None:
    photo = add_spa_photo(spa=in_firm.spa, upload=upload(), caption="", by=in_firm.office)
    attempts = [
        lambda: add_spa_photo(spa=in_firm.spa, upload=upload(), caption="", by=in_firm.technician),
        lambda: caption_spa_photo(photo=photo, caption="X", by=in_firm.technician),
        lambda: remove_spa_photo(photo=photo, by=in_firm.technician),
    ]
    for attempt in attempts:
        with pytest.raises(NotAllowed):
            attempt()


def _fail(**_: Any) -> None:
    raise ConnectionError("the trail cannot be written")


@pytest.mark.django_db(transaction=True)
def test_no_file_is_left_behind_when_the_audit_row_fails(
    in_firm: Firm, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(saving, "record_event", _fail)

    with pytest.raises(ConnectionError):
        add_spa_photo(spa=in_firm.spa, upload=upload(), caption="", by=in_firm.office)

    assert not SpaPhoto.objects.exists()
    assert stored_files(in_firm, settings) == []


@pytest.mark.django_db(transaction=True)
def test_a_removal_that_fails_keeps_row_and_file(
    in_firm: Firm, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    photo = add_spa_photo(spa=in_firm.spa, upload=upload(), caption="", by=in_firm.office)
    monkeypatch.setattr(photos, "record_event", _fail)

    with pytest.raises(ConnectionError):
        remove_spa_photo(photo=photo, by=in_firm.office)

    assert SpaPhoto.objects.get() == photo
    assert len(stored_files(in_firm, settings)) == 1
