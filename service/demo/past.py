"""The demonstration's months before, kept as a file: what is kept of each table, and by which names.

Rows are kept per spa, times as days and clock times counted from the day the demonstration is set up,
other rows by the scenario's own names. Records are not kept: they are made anew, by the product's own
code, from the rows that are read back.
"""

import gzip
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import models

from accounts.models import Organisation, Person
from service.sites.models import Spa
from service.stock.models import Batch, Instrument, Product
from service.visits.models import Closure, Decision, Reading, Task, TreatmentStep

FILE = Path(settings.BASE_DIR) / "fixtures" / "history.json.gz"
VISIT = (
    "technician", "kind", "planned_on", "window_from", "window_to", "state", "end_reason", "started_at",
    "ended_at", "verdict", "fit_from", "holds_until", "tested_at", "retest_by", "retest_due",
    "note_to_owner", "revision", "planned_by", "created_at",
)  # fmt: skip
# A visit is told by its place among those of the spa, a decision likewise.
TABLES: Mapping[str, tuple[type[models.Model], tuple[str, ...]]] = {
    "readings": (
        Reading,
        ("visit", "parameter", "moment", "typed", "typed_unit", "value", "bound", "method", "instrument",
         "plus_minus", "converted_from", "taken_at", "governs", "taken_by"),
    ),
    "decisions": (Decision, ("visit", "moment", "request", "response", "engine_version", "made_at")),
    "steps": (
        TreatmentStep,
        ("visit", "decision", "order", "action", "planned", "product", "planned_mass_g", "actual_mass_g",
         "batch", "state", "reason", "done_at", "wait_until", "done_by"),
    ),
    "tasks": (Task, ("visit", "kind", "why", "state", "done_at", "done_by", "note", "lines_done")),
    "closures": (
        Closure,
        ("visit", "reason", "findings", "closed_at", "closed_by", "renewed_at", "reopened_at",
         "reopened_by", "reopened_visit"),
    ),
}  # fmt: skip
CORRECTION = ("corrects", "was", "becomes", "reason", "made_at", "made_by")
# A closure as a signature named it: its reason may have grown since, and it may have ended.
SIGNED_CLOSURE = ("closed_at", "reopened_at", "reason")


@dataclass
class Names:
    """Rows of a firm by the names that the scenario gives them. Needs the firm in scope."""

    organisation: Organisation
    today: date
    spas: Mapping[str, Spa]
    people: Mapping[str, Person]
    instruments: Mapping[str, Instrument]
    products: dict[str, Product] = field(default_factory=dict)
    batches: dict[str, Batch] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.products = {f"product {one.name}": one for one in Product.objects.all()}
        self.batches = {f"batch {one.code}": one for one in Batch.objects.all()}

    @property
    def rows(self) -> dict[str, models.Model]:
        return {**self.people, **self.instruments, **self.products, **self.batches}

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.organisation.time_zone)


def kept() -> dict[str, Any]:
    """The file as it is: "firms", by name, by spa: the rows of each table."""
    content: dict[str, Any] = json.loads(gzip.decompress(FILE.read_bytes()))
    return content


def keep(content: Mapping[str, Any]) -> None:
    """Write the file; the same content gives the same bytes."""
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    FILE.write_bytes(gzip.compress(text.encode(), compresslevel=9, mtime=0))
