"""The notice that goes up at a closed spa: read from a distance, printed in black."""

from dataclasses import dataclass

from reportlab.platypus import Flowable

from reports.paper.page import About, Pdf, write_pdf
from reports.paper.pieces import Rule, gap, words
from service.shell.clock import local_moment
from service.visits.models import Closure

CLOSED = "■ Closed"
DO_NOT_USE = "Do not use"
# Common practice, no source.
UNWELL = "Unwell after bathing? Ask a doctor, and tell us."


@dataclass(frozen=True)
class Notice:
    """What the notice says. No names of people: anybody may read it.

    ended  Since when the closure is over; "" while it stands.
    """

    firm: str
    call: str
    spa: str
    site: str
    reason: str
    since: str
    until: str
    ended: str


def notice_of(closure: Closure) -> Notice:
    """The notice of a closure. Needs ``spa.site`` and ``organisation`` loaded."""
    firm, zone = closure.organisation, closure.organisation.time_zone
    return Notice(
        firm=firm.name,
        call=firm.phone or firm.email,
        spa=closure.spa.name,
        site=closure.spa.site.name,
        reason=closure.reason,
        since=local_moment(closure.closed_at, zone),
        until=(
            f"It stays closed until {firm.name} has tested the water and the readings meet the guideline. "
            "Only they take this notice down."
        ),
        ended=local_moment(closure.reopened_at, zone) if closure.reopened_at else "",
    )


def notice_pdf(closure: Closure) -> Pdf:
    """The notice on one page of A4 or Letter. Made when asked for: it says what holds now."""
    notice = notice_of(closure)
    about = About(
        title=f"Notice of closure, {notice.spa}, {notice.site}",
        subject="Notice of closure",
        author=notice.firm,
        head="",
        foot=f"{notice.firm}. Notice of closure since {notice.since}.",
        stamped=closure.renewed_at,
        us_paper=closure.organisation.us_units,
    )
    roomy = write_pdf(_story(notice, "huge"), about)
    return roomy if roomy.pages == 1 else write_pdf(_story(notice, "large"), about)


def _story(notice: Notice, size: str) -> list[Flowable]:
    return [
        words(notice.firm, "cell strong"),
        gap(6),
        words(CLOSED, "shout", tag="H1"),
        words(DO_NOT_USE, "shout"),
        Rule(1.5, after_mm=4),
        words(f"{notice.spa}, {notice.site}", f"{size} strong"),
        words(notice.reason, size),
        words(f"Closed since {notice.since}.", size),
        words(notice.until, size),
        gap(2),
        Rule(1.5, after_mm=4),
        words(f"Questions? Call {notice.firm}", size),
        words(notice.call, f"{size} strong"),
        words(UNWELL, size),
    ]
