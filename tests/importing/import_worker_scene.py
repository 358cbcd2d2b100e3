"""One step of a scene beside a real worker, as a process of its own (``-m``).

``ask ROWS``  A firm; a list of so many clients, read and confirmed.
``page``      The list's page as the office sees it. Prints its text as JSON.
"""

import json
import re
import sys
from typing import Any

import django

django.setup()

from django.conf import settings  # noqa: E402
from django.test import Client as Browser  # noqa: E402
from django.urls import reverse  # noqa: E402
from django.utils import timezone  # noqa: E402
from django_scopes import scope, scopes_disabled  # noqa: E402

from accounts.models import Person  # noqa: E402
from accounts.sessions import mark_seen  # noqa: E402
from service.importing.models import ListImport  # noqa: E402
from service.importing.upload import read_now, upload_list  # noqa: E402
from service.importing.write import confirm_list  # noqa: E402
from service.runs.work import do_run  # noqa: E402
from tests.personas import make_firm  # noqa: E402


def ask(rows: int) -> dict[str, Any]:
    firm = make_firm("Alderbrook Spa Care")
    notes = "Invoice on the first of the month. " * 8
    text = "reference,name,notes\n" + "".join(f"C{n},Lets of {n},{notes}\n" for n in range(rows))
    with scope(organisation=firm.organisation):
        listing = upload_list(kind="client", file_name="clients.csv", data=text.encode(), by=firm.office)
        assert listing.run
        do_run(listing.run.pk, lambda run: read_now(listing, firm.office, run))
        run = confirm_list(listing=listing, only_good=False, by=firm.office)
    return {"run": run.pk.hex}


def page() -> dict[str, Any]:
    listing, office = _found()
    settings.ALLOWED_HOSTS = ["testserver"]
    browser = Browser()
    browser.force_login(office)
    session = browser.session
    mark_seen(session, timezone.now())
    session.save()
    answer = browser.get(reverse("importing:list", args=[listing.pk])).content.decode()
    main = answer[answer.index("<main") : answer.index("</main>")]
    return {"text": " ".join(re.sub(r"<[^>]+>", " ", main).split())}


def _found() -> tuple[ListImport, Person]:
    with scopes_disabled():
        listing = ListImport.objects.get()
        return listing, Person.objects.select_related("organisation").get(pk=listing.uploaded_by_id)


if __name__ == "__main__":
    steps: dict[str, Any] = {"ask": lambda: ask(int(sys.argv[2])), "page": page}
    print(json.dumps(steps[sys.argv[1]]()))  # noqa: T201
