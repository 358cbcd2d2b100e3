"""The whole visit record, in the order in which an owner reads it."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from reports.paper.page import About, Pdf, write_pdf
from reports.record.closing import signature_section, verify_section
from reports.record.opening import opening
from reports.record.pictures import photos_section
from reports.record.reader import Edition
from reports.record.readings import readings_section
from reports.record.sources import Sources, sources_section
from reports.record.work import defects_section, inspection_section, tasks_section, treatment_section
from service.visits.models import Photo


def record_pdf(edition: Edition, photos: Sequence[Photo]) -> Pdf:
    """One edition of a visit record. The same rows give the same bytes."""
    about = _about(edition)
    width, sources = about.text_width, Sources()
    story: list[Flowable] = [
        *opening(edition, sources, width),
        *readings_section(edition, sources, width),
        *treatment_section(edition, width),
        *tasks_section(edition, width),
        *inspection_section(edition, width),
        *defects_section(edition, width),
        *photos_section(edition, photos, width),
        *signature_section(edition, width),
        *sources_section(edition, sources, width),
        *verify_section(edition, width),
    ]
    return write_pdf(story, about)


def _about(edition: Edition) -> About:
    content = edition.content
    firm, day = content["organisation"]["name"], edition.day(content["signature"]["at"])
    spa, site = edition.said(content["spa"]["name"]), edition.said(content["site"]["name"])
    corrected = f", edition {edition.number}" if edition.amendments else ""
    return About(
        title=f"Visit record, {spa}, {site}, {day}{corrected}",
        subject=f"Visit record {edition.record.digest}",
        author=firm,
        head=f"Visit record, {day}{corrected} · {spa} · {site} · {firm}",
        foot=f"Record {edition.record.digest[:16]}, edition {edition.number}. How to verify it: last page.",
        stamped=edition.as_of,
        us_paper=edition.us_units,
    )
