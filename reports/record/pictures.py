"""Photographs of a visit: the very bytes that the record names by their digest."""

import hashlib
from collections.abc import Mapping, Sequence
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Table

from reports.paper.pieces import Picture, section, table, words
from reports.record.reader import Edition
from service.visits.inspection import BY_KEY
from service.visits.models import Photo, TaskKind

HEIGHT = 54 * mm
_SUBJECTS: Mapping[str, str] = {
    **{key: item.question for key, item in BY_KEY.items()},
    **dict(TaskKind.choices),
    "water": "The water",
    "test": "The test",
    "spa": "The spa",
    "before": "Before",
    "after": "After",
}
MISSING = "The picture's file is missing. Its digest stands in the record."
CHANGED = "The picture's file is not the one that was signed: its digest differs. It is not shown."


def photos_section(edition: Edition, photos: Sequence[Photo], width: float) -> list[Flowable]:
    """The photos in pairs, each with caption, time and digest."""
    listed = edition.content["photos"]
    if not listed:
        return []
    files = {photo.digest: photo for photo in photos}
    cells = [
        _photo(edition, number, each, files.get(each["sha256"]), width / 2 - 8)
        for number, each in enumerate(listed, start=1)
    ]
    pairs = [cells[start : start + 2] for start in range(0, len(cells), 2)]
    return section("Photos", *(_pair(pair, width) for pair in pairs), width=width)


def _pair(pair: list[list[Flowable]], width: float) -> Table:
    return table((), [[*pair, *[""] * (2 - len(pair))]], [width / 2, width / 2])


def _photo(
    edition: Edition, number: int, listed: Mapping[str, Any], photo: Photo | None, width: float
) -> list[Flowable]:
    subject = _SUBJECTS.get(listed["about"], "")
    says = edition.said(listed["caption"]) or subject or f"Photo {number}"
    about = f"{number}. {says}" if says == subject or not subject else f"{number}. {says} ({subject})"
    return [
        _shown(photo, says, width),
        words(about, "cell"),
        words(
            f"{edition.clock_of_the_day(listed['taken_at'])}, {edition.person(listed['taken_by'])}",
            "cell soft",
        ),
        words(f"SHA-256 {listed['sha256']}", "digest"),
    ]


def _shown(photo: Photo | None, says: str, width: float) -> Flowable:
    if photo is None:
        return words(MISSING, "cell strong")
    try:
        with photo.file.open("rb") as file:
            taken = file.read()
    except FileNotFoundError:
        return words(MISSING, "cell strong")
    if hashlib.sha256(taken).hexdigest() != photo.digest:
        return words(CHANGED, "cell strong")
    return Picture(taken, says=says, width=width, height=HEIGHT)
