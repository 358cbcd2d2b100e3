"""Photos of a visit: cleaned on the way in, kept with their digest."""

from __future__ import annotations

import hashlib

from django.core.exceptions import ValidationError
from django.core.files.base import File
from django.db import transaction

from accounts.models import Person
from service.shell.pictures import clean_photo
from service.visits.editing import edit, note
from service.visits.inspection import BY_KEY
from service.visits.models import Photo, TaskKind, Visit
from service.visits.wording import optional

MOST_PHOTOS = 40
# What a photo can be of: a line of the inspection, a task, or one of these.
OTHER_SUBJECTS = ("water", "test", "spa", "before", "after")
SUBJECTS = frozenset((*BY_KEY, *TaskKind.values, *OTHER_SUBJECTS))


def add_photo(
    *,
    visit: Visit,
    upload: File[bytes],
    about: str,
    caption: str,
    by: Person,
    expected_revision: int | None = None,
) -> Photo:
    """Keep a photo with the visit. about: one of SUBJECTS or "".

    Raises ValidationError by field (``photo`` for the file), NotAllowed, AlreadySigned, Changed, Refused.
    """
    # Re-encoding takes a second: not while the visit's row is locked.
    picture = _cleaned(upload)
    caption = optional(caption, "caption", longest=200)
    if about and about not in SUBJECTS:
        raise ValidationError({"about": "Choose what the photo shows from the list."})
    digest = hashlib.sha256(picture.read()).hexdigest()
    photo = Photo(
        organisation_id=visit.organisation_id,
        visit=visit,
        digest=digest,
        about=about,
        caption=caption,
        taken_by=by,
    )
    try:
        _save(photo, picture, by, expected_revision)
    except BaseException:
        # The row is gone with its transaction; the file must not outlive it.
        if photo.file:
            photo.file.delete(save=False)
        raise
    return photo


@transaction.atomic
def remove_photo(*, photo: Photo, by: Person, expected_revision: int | None = None) -> None:
    """Take a photo away before the visit is signed.

    Raises NotAllowed, AlreadySigned, Changed, Refused.
    """
    row = edit(photo.visit, by=by, expected_revision=expected_revision)
    storage, name = photo.file.storage, photo.file.name
    Photo.objects.filter(pk=photo.pk).delete()
    note(row, "visit.photo_removed", by=by, digest=photo.digest)
    if name:
        transaction.on_commit(lambda: storage.delete(name))


@transaction.atomic
def _save(photo: Photo, picture: File[bytes], by: Person, expected_revision: int | None) -> None:
    row = edit(photo.visit, by=by, expected_revision=expected_revision)
    if Photo.objects.filter(visit=row).count() >= MOST_PHOTOS:
        raise ValidationError({"photo": f"A visit holds at most {MOST_PHOTOS} photos."})
    picture.seek(0)
    photo.file.save("photo.jpg", picture, save=False)
    photo.save()
    note(row, "visit.photo_added", by=by, digest=photo.digest, about=photo.about)


def _cleaned(upload: File[bytes]) -> File[bytes]:
    try:
        return clean_photo(upload)
    except ValidationError as wrong:
        raise ValidationError({"photo": wrong.messages}) from wrong
