"""The office's lists and pages, on a phone and at a desk."""

import os
from pathlib import Path
from typing import Any

from django_scopes import scope
from playwright.sync_api import Page

from service.visits.closures import close_spa
from service.visits.models import Defect
from tests.personas import Firm
from tests.visits.working import planned, signed


def keep_picture(page: Page, name: str) -> None:
    """A picture to look at, when somebody asks for it."""
    if folder := os.environ.get("RUNNEL_PICTURES"):
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def test_every_list_and_page_of_the_office_is_accessible(
    page: Page, firm: Firm, enter: Any, axe_clean: Any
) -> None:
    with scope(organisation=firm.organisation):
        record = signed(firm).record
        visit = planned(firm)
        close_spa(spa=firm.spa, reason="Glass in the water", by=firm.office)
        defect = Defect.objects.create(
            organisation=firm.organisation, spa=firm.spa, description="Cover torn", found_by=firm.office
        )
    enter(page, firm.office)
    width = page.viewport_size["width"] if page.viewport_size else 0

    for name, address in {
        "records": "records/",
        "record": f"records/{record.pk}/",
        "amend": f"records/{record.pk}/amend/",
        "history": f"spas/{firm.spa.pk}/history/",
        "defects": "defects/",
        "defect": f"defects/{defect.pk}/",
        "closures": "closures/",
        "edit": f"planned/{visit.pk}/edit/",
        "cancel": f"planned/{visit.pk}/cancel/",
    }.items():
        page.goto(f"/visits/{address}")
        keep_picture(page, f"{name}-{width}")
        axe_clean(page)
