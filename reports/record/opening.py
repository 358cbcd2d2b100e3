"""What an owner wants first: may people bathe, from when, until when; what was corrected since."""

from collections.abc import Mapping
from dataclasses import dataclass

from reportlab.platypus import Flowable

from reports.paper.pieces import Rule, bullets, facts, gap, section, strong, table, title, words
from reports.quantities import volume
from reports.record.judged import finding_sentence, findings_at
from reports.record.reader import Edition
from reports.record.sources import Sources
from service.sites.models import Sanitiser, Setting, Shell, VolumeBasis
from service.visits.fitness import KEEP_OUT
from service.visits.models import Amendment, Moment, Verdict, VisitKind


@dataclass(frozen=True)
class State:
    """The verdict as it stands on paper: shape and word, then its times, then what follows."""

    word: str
    times: tuple[str, ...]


def opening(edition: Edition, sources: Sources, width: float) -> list[Flowable]:
    state = state_of(edition)
    story = [
        *_masthead(edition),
        gap(3),
        Rule(1.5, after_mm=1),
        words(state.word, "state"),
        *(words(sentence, "lead") for sentence in state.times),
        gap(1),
        Rule(1.5, after_mm=1),
        *_why(edition, sources),
        *_closures(edition),
    ]
    if note := edition.said(edition.content["verdict"]["note_to_owner"]):
        story += [strong("Note to the owner.", note), gap(1)]
    return [*story, *_amendments(edition, width), *_about(edition, width)]


def state_of(edition: Edition) -> State:
    """The verdict in words. A verdict belongs to a time: what it says lapses, and the paper says when."""
    verdict = edition.content["verdict"]
    tested, until = edition.moment(verdict["tested_at"]), edition.moment(verdict["holds_until"])
    lapse = f"Holds until {until}, when the next test is due. After that: ○\u00a0Not tested since {tested}."
    if verdict["verdict"] == Verdict.FIT_NOW:
        return State("● Fit for use", (f"Tested {tested}.", lapse))
    if verdict["verdict"] == Verdict.FIT_FROM:
        at = edition.moment(verdict["fit_from"])
        return State(
            f"■ Closed until {edition.clock_of_the_day(verdict['fit_from'])}, then ● fit for use",
            (f"{KEEP_OUT[:-1]} before {at}.", f"Tested {tested}. {lapse}"),
        )
    # Who retests is typed by the technician and often is one of the staff.
    who = edition.said(verdict["retest_by"]) if edition.names else ""
    due = edition.moment(verdict["retest_due"])
    retest = " ".join(filter(None, ["Retest", f"by {who}" if who else "", f"due {due}" if due else ""]))
    measured = f"Last tested {tested}. " if tested else "Sanitiser and pH were not both tested. "
    return State(
        "■ Closed until a retest",
        (KEEP_OUT, f"{measured}{retest}. It reopens only by readings that meet the guideline."),
    )


def _masthead(edition: Edition) -> list[Flowable]:
    content, firm = edition.content, edition.organisation
    corrected = f", edition {edition.number}, with corrections" if edition.amendments else ""
    place = [content["spa"]["name"], content["site"]["name"], content["client"]["name"]]
    return [
        words(content["organisation"]["name"], "cell strong"),
        words(" · ".join(filter(None, [firm.address.replace("\n", ", "), firm.phone, firm.email])), "soft"),
        gap(4),
        *title("Visit record"),
        words(f"{edition.day(content['signature']['at'])}{corrected}", "lead"),
        words(" · ".join(edition.said(each) for each in place), "lead"),
        words(edition.said(content["site"]["address"]).replace("\n", ", "), "soft"),
    ]


def _why(edition: Edition, sources: Sources) -> list[Flowable]:
    """What stands out in the water and at the tub, gravest first, as it was when the visit was signed."""
    after = findings_at(edition, Moment.AFTER)
    judged = after if after.decided else findings_at(edition, Moment.BEFORE)
    questions = {line["item"]: line["question"] for line in edition.content["inspection"]}
    sentences = [
        f"{finding_sentence(edition, found, questions)} {sources.cite(found['source'], found['verified'])}"
        for found in judged.listed
    ]
    if not judged.decided:
        return [gap(2)]
    if not sentences:
        return [gap(2), words("Every reading that the guideline limits was inside it."), gap(1)]
    return [gap(2), words("What stands out", "cell strong"), *bullets(sentences), gap(1)]


def _closures(edition: Edition) -> list[Flowable]:
    story: list[Flowable] = []
    for closure in edition.content["closures"]:
        reason = edition.said(closure["reason"])
        story.append(strong(f"Closed since {edition.moment(closure['closed_at'])}.", reason))
        if closure["reopened_at"]:
            story.append(words(f"Reopened {edition.moment(closure['reopened_at'])} by these readings."))
    return story


def _amendments(edition: Edition, width: float) -> list[Flowable]:
    if not edition.amendments:
        return []
    rows = [_amendment(edition, number, each) for number, each in enumerate(edition.amendments, start=1)]
    wide = (width - 20) / 4
    return section(
        "Amendments",
        words("The record below stands as it was signed. These corrections were added to it afterwards."),
        table(
            ["", "What is corrected", "It said", "It should say", "Why, when"],
            rows,
            [20, wide, wide, wide, wide],
        ),
        width=width,
    )


def _amendment(edition: Edition, number: int, amendment: Amendment) -> list[object]:
    by = f", {amendment.made_by.name}" if edition.names else ""
    return [
        str(number),
        amendment.corrects,
        amendment.was,
        words(amendment.becomes, "cell strong"),
        [
            words(amendment.reason, "cell"),
            words(f"{edition.moment(amendment.made_at.isoformat())}{by}", "cell soft"),
        ],
    ]


def _about(edition: Edition, width: float) -> list[Flowable]:
    visit, spa = edition.content["visit"], edition.content["spa"]
    measured = VolumeBasis(spa["volume_basis"]).label.lower()
    pairs = [
        (
            "Visit",
            VisitKind(visit["kind"]).label + (", changeover between guests" if visit["changeover"] else ""),
        ),
        (
            "On site",
            f"{edition.moment(visit['started_at'])} to {edition.clock(edition.content['signature']['at'])}",
        ),
        ("Volume", f"{volume(str(spa['volume_l']), us_units=edition.us_units)}, known by: {measured}"),
        ("Spa", _spa_words(spa)),
        ("Bathers expected before the next visit", str(visit["bathers_expected"] or "")),
        ("Guideline", edition.content["guideline"].get("title", edition.content["guideline"]["id"])),
    ]
    asked = edition.said(visit["instructions"])
    return section(
        "The visit",
        facts(pairs, width),
        *([gap(1), strong("Asked for.", asked, "cell")] if asked else []),
        width=width,
    )


def _spa_words(spa: Mapping[str, str]) -> str:
    sanitiser, shell = Sanitiser(spa["sanitiser"]).label, Shell(spa["shell"]).label.lower()
    return f"{sanitiser}, {shell} shell, {Setting(spa['setting']).label.lower()}"
