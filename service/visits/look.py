"""Saving what was seen: the answers of the inspection and the photos taken at its lines."""

from __future__ import annotations

from collections.abc import Mapping

from django.core.exceptions import ValidationError
from django.core.files.base import File

from accounts.models import Person
from service.visits.inspection import answer_inspection
from service.visits.models import Visit
from service.visits.photos import add_photo


def save_look(
    *,
    visit: Visit,
    answers: Mapping[str, tuple[str, str]],
    photos: Mapping[str, File[bytes]],
    by: Person,
    expected_revision: int | None,
) -> None:
    """Save answers and photos by item key. A photo is of the line's defect, where a No opened one.

    Every part that can be kept is kept: a browser does not hold a chosen file over a refusal, so a
    good photo is not lost because of a missing word, nor the words because of a bad photo.

    Raises ValidationError by item key, and by "key.photo" for a photo; NotAllowed, AlreadySigned,
    Changed, Refused, and nothing is kept then.
    """
    wrong: dict[str, list[str]] = {}
    try:
        answer_inspection(visit=visit, answers=answers, by=by, expected_revision=expected_revision)
    except ValidationError as refused:
        wrong |= refused.message_dict
    for key, upload in photos.items():
        try:
            add_photo(visit=visit, upload=upload, about=key, caption="", by=by)
        except ValidationError as refused:
            wrong[f"{key}.photo"] = refused.messages
    if wrong:
        raise ValidationError(wrong)
