"""Who signed, and how anybody can check that the record is the one that was signed."""

import base64

from reportlab.lib.units import mm
from reportlab.platypus import Flowable

from reports.paper.pieces import Picture, section, strong, words
from reports.record.reader import ERASED, Edition

OUTSIDE = (
    "This visit looked at the water and at what the inspection lists. It did not look at fences, signs, "
    "supervision, rescue gear or anything else that a local code may ask for. It does not replace the "
    "product labels, the local code or the advice of a licensed person."
)


def signature_section(edition: Edition, width: float) -> list[Flowable]:
    signature = edition.content["signature"]
    by, firm = edition.person(signature["by"]), edition.content["organisation"]["name"]
    who = by if edition.names else f"{by} of {firm}; the firm holds the name"
    story: list[Flowable] = [
        strong("Signed", f"{edition.moment(signature['at'])} with a personal PIN by {who}.")
    ]
    drawn = edition.said(signature["owner"])
    if drawn == ERASED:
        story.append(words("The owner's drawn signature has been erased."))
    elif drawn:
        picture = base64.b64decode(drawn)
        story += [
            words("The owner or their representative drew this signature:"),
            Picture(picture, says="Drawn signature of the owner", width=70 * mm, height=25 * mm),
        ]
    return section("Signature", *story, words(OUTSIDE, "soft"), width=width)


def verify_section(edition: Edition, width: float) -> list[Flowable]:
    record = edition.record
    story: list[Flowable] = [
        strong("Digest of the record", record.digest, "cell"),
        words(
            "It is the SHA-256 of the record's text in canonical form (RFC 8785, figures as text, UTF-8). "
            "Ask the firm for that text and compute its SHA-256: the same digest means the record has not "
            "been changed since it was signed.",
            "cell",
        ),
        words(
            "Names and free text stand in that text as commitments, the SHA-256 of a salt followed by the "
            "words, so that a person's data can be erased while the digest still verifies. The firm holds "
            "the salts. Photos stand in it by the SHA-256 of their files, which this PDF holds unchanged.",
            "cell",
        ),
    ]
    if record.previous_digest:
        story.append(
            strong(
                f"Record {record.sequence} of the firm; the one before it:", record.previous_digest, "cell"
            )
        )
    if edition.amendments:
        story.append(
            words("Amendments were added after signing and are not part of the digest above.", "cell")
        )
    return section("How to verify this record", *story, width=width)
