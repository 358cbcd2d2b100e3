"""One step of a scene beside a real worker, as a process of its own: ``-m tests.reports.worker_scene``.

``sign``   A firm, a signed visit with one photo; its PDF asked for. Prints keys as JSON.
``set``    Sets the visit's record here and prints the digest of each copy as JSON.
"""

import json
import sys
from typing import Any

import django

django.setup()

from django.db import transaction  # noqa: E402
from django_scopes import scope, scopes_disabled  # noqa: E402

from reports.editions import Copy, read_edition  # noqa: E402
from reports.models import ReportKind  # noqa: E402
from reports.record.document import record_pdf  # noqa: E402
from service.visits.models import Photo, Record  # noqa: E402
from service.visits.report_runs import ask_for_record_pdf  # noqa: E402
from tests.personas import make_firm  # noqa: E402
from tests.reports.signed_visits import signed_visit  # noqa: E402


def sign() -> dict[str, Any]:
    firm = make_firm("Alderbrook Spa Care")
    with scope(organisation=firm.organisation), transaction.atomic():
        record = signed_visit(firm, photos=[{"caption": "The strap"}])
        run = ask_for_record_pdf(record.visit, by=firm.technician)
        photo = Photo.objects.get()
    return {"run": run.pk.hex, "visit": record.visit_id.hex, "photo": photo.file.path}


def set_here() -> dict[str, Any]:
    with scopes_disabled():
        record = Record.objects.select_related("organisation", "visit").get()
        photos = list(Photo.objects.all())
        return {kind: record_pdf(read_edition(record, Copy(kind, 1)), photos).digest for kind in ReportKind}


if __name__ == "__main__":
    print(json.dumps({"sign": sign, "set": set_here}[sys.argv[1]]()))  # noqa: T201
