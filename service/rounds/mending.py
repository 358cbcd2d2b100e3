"""For a visit without a place: the page on which that is mended, read from the reason's own words."""

from dataclasses import dataclass

from django.urls import reverse

from service.rounds.models import PlannedVisit

# Words of a reason -> what is done about it, and the page. The first that fits counts.
_MENDS = (
    (("position", "no road"), ("Set the site's position", "sites:site_edit")),
    (("pinned", "the pin "), ("Lift the pin, or move it", "rounds:move")),
    (("can do ", "the skills"), ("Give somebody the skill, or change who may go", "rounds:roster")),
    (("van", "load of"), ("Say what the vans carry", "rounds:roster")),
    (("drop penalty",), ("Say what dropping it costs", "rounds:agreement_edit")),
    (
        ("its window", "the place were open", "a day of this week"),
        ("Open its window or its days", "rounds:agreement_edit"),
    ),
    (("works on", "nobody works", "worked on"), ("Enter who works", "rounds:roster")),
)


@dataclass(frozen=True)
class Mend:
    """One thing to do about it. words: of the link; url: where."""

    words: str
    url: str


def mend_of(row: PlannedVisit) -> Mend:
    """What helps a visit that has no place. Needs ``spa`` loaded.

    The planner's reasons are sentences; each kind has words of its own.
    """
    said = f"{row.reason} {row.would_fit_if}".lower()
    found = next((mend for signs, mend in _MENDS if any(sign in said for sign in signs)), None)
    if found is not None:
        words, name = found
        return Mend(words, _page(name, row))
    return Mend("Give it a place", reverse("rounds:move", args=[row.pk]))


def _page(name: str, row: PlannedVisit) -> str:
    if name == "sites:site_edit":
        return reverse(name, args=[row.spa.site_id])
    if name == "rounds:agreement_edit" and row.agreement_id:
        return reverse(name, args=[row.agreement_id])
    return reverse("rounds:roster") if name == "rounds:roster" else reverse("rounds:move", args=[row.pk])
