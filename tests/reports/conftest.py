"""A firm whose papers can be read back, and files of its own for each test."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from reports.editions import Copy, read_edition
from reports.models import ReportKind
from reports.record.document import record_pdf
from service.visits.models import Photo, Record
from tests.personas import Firm


@pytest.fixture(autouse=True)
def _own_files(settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def named(in_firm: Firm) -> Firm:
    """The firm with names that can be told apart in a text."""
    in_firm.technician.name = "Wren Calloway"
    in_firm.technician.save()
    for row, name in (
        (in_firm.client, "Fellgate Lets"),
        (in_firm.site, "Hillside"),
        (in_firm.spa, "Garden tub"),
    ):
        row.name = name
        row.save()
    return in_firm


@pytest.fixture
def set_record() -> Callable[..., bytes]:
    """``set_record(record, edition=1, kind=…)``: the bytes of one copy."""

    def written(record: Record, edition: int = 1, kind: ReportKind = ReportKind.VISIT_RECORD) -> bytes:
        loaded = Record.objects.select_related("organisation", "visit").get(pk=record.pk)
        photos = list(Photo.objects.filter(visit=loaded.visit))
        return record_pdf(read_edition(loaded, Copy(kind, edition)), photos).content

    return written
