"""Photos of a spa: its plate, breaker, gate, plant room."""

from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile, File
from django.db import transaction

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Person
from accounts.roles import Action
from service.shell.pictures import clean_photo
from service.sites.models import Spa, SpaPhoto
from service.sites.saving import add_row, change_row

PHOTOS_PER_SPA = 40


def add_spa_photo(*, spa: Spa, upload: "File[Any]", caption: str, by: Person) -> SpaPhoto:
    """Keep a cleaned copy of ``upload``.

    Raises NotAllowed; ValidationError at ``upload`` for a file that is no photo, or one too many.
    """
    require(by, Action.EDIT_SITES)
    if spa.photos.count() >= PHOTOS_PER_SPA:
        raise ValidationError(
            {"upload": f"This spa has {PHOTOS_PER_SPA} photos, the most it can hold. Remove one first."}
        )
    try:
        picture = clean_photo(upload)
    except ValidationError as refused:
        raise ValidationError({"upload": refused.messages}) from refused
    return _keep(spa, picture, caption, by)


def _keep(spa: Spa, picture: "ContentFile[bytes]", caption: str, by: Person) -> SpaPhoto:
    photo = SpaPhoto(organisation=spa.organisation, spa=spa, caption=caption, added_by=by)
    photo.file.save("", picture, save=False)
    try:
        return add_row(photo, action="spa.photo_added", by=by)
    except BaseException:
        photo.file.delete(save=False)
        raise


def caption_spa_photo(*, photo: SpaPhoto, caption: str, by: Person) -> SpaPhoto:
    """Give a photo other words. Raises NotAllowed; ValidationError at ``caption``."""
    require(by, Action.EDIT_SITES)
    return change_row(photo, {"caption": caption}, action="spa.photo_captioned", by=by)


@transaction.atomic
def remove_spa_photo(*, photo: SpaPhoto, by: Person) -> None:
    """Delete a photo and its file for good. Raises NotAllowed."""
    require(by, Action.EDIT_SITES)
    record_event(action="spa.photo_removed", subject=photo, by=by, detail={"spa": str(photo.spa_id)})
    photo.delete()
