"""The visit record read back as a PDF reader sees it (pypdf 7.1.1, PyPI)."""

import hashlib
import subprocess
from collections.abc import Callable, Iterator
from datetime import timedelta
from io import BytesIO
from typing import Any

import pytest
import time_machine
from pypdf import PdfReader
from pypdf.generic import IndirectObject

from reports.models import ReportKind
from service.visits.models import PersonalDatum, Photo, Verdict
from service.visits.parameters import TESTS
from tests.factories import InstrumentFactory
from tests.personas import Firm
from tests.reports.signed_visits import GOOD, SIGNED, amended, drawn_signature, signed_visit

SetRecord = Callable[..., bytes]
BAD = {**GOOD, "free_chlorine_mg_l": "1.2", "ph": "8.1"}
DOSES = (
    {
        "product": "Liquid chlorine",
        "substance": "sodium_hypochlorite",
        "planned": "35",
        "actual": "30",
        "purpose": "raise free chlorine",
        "reason": "Jug held 30",
    },
    {"action": "replace_water", "share": 0.25, "state": "skipped", "reason": "Guests came early"},
)


def reader(content: bytes) -> PdfReader:
    return PdfReader(BytesIO(content), strict=True)


def text_of(content: bytes) -> str:
    """The text of every page on one line, so that a line's end does not hide a phrase."""
    return " ".join(" ".join(page.extract_text() for page in reader(content).pages).split())


def test_an_owner_reads_first_whether_from_when_and_until_when_people_may_bathe(
    named: Firm, set_record: SetRecord
) -> None:
    first_page = reader(set_record(signed_visit(named))).pages[0].extract_text()

    opening = first_page[: first_page.index("The visit")]
    assert "● Fit for use" in opening
    assert "Tested Wed 3 Jun 2026, 10:10." in opening
    assert "Holds until Thu 4 Jun 2026, 10:40, when the next test is due." in opening
    assert "Garden tub · Hillside · Fellgate Lets" in opening


@pytest.mark.parametrize(
    ("verdict", "fields", "said"),
    [
        (Verdict.FIT_FROM, {}, ["■ Closed until 11:30, then ● fit for use", "before Wed 3 Jun 2026, 11:30."]),
        (
            Verdict.CLOSED_UNTIL_RETEST,
            {"retest_by": "The caretaker", "retest_due": SIGNED + timedelta(hours=5)},
            [
                "■ Closed until a retest",
                "Do not let people in.",
                "by The caretaker due Wed 3 Jun 2026, 15:40",
            ],
        ),
    ],
    ids=["fit from a time", "closed"],
)
def test_a_verdict_that_keeps_people_out_says_so_in_words(
    named: Firm, set_record: SetRecord, verdict: str, fields: dict[str, Any], said: list[str]
) -> None:
    text = text_of(set_record(signed_visit(named, verdict=verdict, **fields)))

    assert [phrase for phrase in said if phrase not in text] == []


def test_a_reading_outside_is_judged_with_its_limit_and_its_clause(
    named: Firm, set_record: SetRecord
) -> None:
    """Limits of 25-C DCMR 404.2(a) and (b)(2): pH 7.2 to 7.8, closed above 8.0; free chlorine 3 to 10."""
    text = text_of(set_record(signed_visit(named, before=BAD, verdict=Verdict.CLOSED_UNTIL_RETEST)))

    assert "Free chlorine 1.2 mg/L, below 3: keeps people out [1]" in text
    assert "pH 8.1, above 8: keeps people out [2]" in text
    assert "404.2(b)(2)" in text
    assert "404.2(a)" in text
    assert "Checked against the document" in text


def test_a_limit_nobody_has_checked_says_so_wherever_it_is_cited(named: Firm, set_record: SetRecord) -> None:
    named.spa.guideline_id = "uk_hsg282"
    named.spa.save()

    text = text_of(set_record(signed_visit(named)))

    assert "unverified]" in text
    assert "Unverified: check against the document." in text


def test_doses_stand_with_what_was_planned_and_really_added_and_their_batch(
    named: Firm, set_record: SetRecord
) -> None:
    text = text_of(set_record(signed_visit(named, before=BAD, after=GOOD, doses=DOSES)))

    for phrase in ("35 g 30 g", "Batch LIQ-01", "Raise free chlorine", "Jug held 30", "Replace water: 25 %"):
        assert phrase in text
    assert "Skipped" in text
    assert "The product label and local code come first" in text
    assert "Never with acid." in text


def test_the_last_visits_stand_beside_todays_reading(named: Firm, set_record: SetRecord) -> None:
    for weeks, ph in ((3, "7.1"), (2, "7.3"), (1, "7.7")):
        signed_visit(named, at=SIGNED - timedelta(weeks=weeks), before={**GOOD, "ph": ph})

    text = text_of(set_record(signed_visit(named)))

    assert "27 May 20 May 13 May" in text
    assert "7.7 7.3 7.1" in text


def test_a_visit_without_a_reading_says_that_it_was_not_tested(named: Firm, set_record: SetRecord) -> None:
    content = set_record(signed_visit(named, before={}, verdict=Verdict.CLOSED_UNTIL_RETEST))

    assert "The water was not tested at this visit." in text_of(content)


def test_every_test_there_is_fits_on_paper(named: Firm, set_record: SetRecord) -> None:
    many = {test.parameter: "5" for test in TESTS}

    text = text_of(set_record(signed_visit(named, before=many, after=many)))

    assert [test.label for test in TESTS if text.count(test.label) < 2] == []


def test_longest_names_and_notes_are_printed_whole(named: Firm, set_record: SetRecord) -> None:
    named.spa.name = "W" * 119 + "!"
    named.spa.save()
    note = ("A rather long note to the owner. " * 70)[:1990].strip() + " The end."
    no = {"cover": ("torn " * 80).strip()}

    text = text_of(set_record(signed_visit(named, note_to_owner=note, no=no)))

    assert "The end." in text
    assert text.count("torn") == 80
    assert text.replace(" ", "").count("W" * 119 + "!") >= 1


def test_text_is_kept_as_typed_even_where_it_looks_like_markup(named: Firm, set_record: SetRecord) -> None:
    note = "<b>5 < 6 & 7</b> <img src='x'>"

    assert note in text_of(set_record(signed_visit(named, note_to_owner=note)))


def test_a_firm_in_us_units_gets_letter_paper_and_its_own_units(named: Firm, set_record: SetRecord) -> None:
    """1 oz is 28.349523125 g, 1 US gallon 3.785411784 L (NIST Special Publication 811, 2008, B.8)."""
    named.organisation.us_units = True
    named.organisation.save()

    content = set_record(signed_visit(named, before={**GOOD, "temperature_c": "40"}, doses=DOSES))

    assert [float(side) for side in reader(content).pages[0].mediabox[2:]] == [612, 792]
    text = text_of(content)
    for phrase in ("104 °F", "330 gal (1,250 L)", "1.2 oz (35 g)"):
        assert phrase in text


def test_pages_are_counted_labelled_and_bookmarked(named: Firm, set_record: SetRecord) -> None:
    record = signed_visit(
        named, before=BAD, after=GOOD, doses=DOSES, photos=[{}], defects=[{"description": "x"}]
    )
    pdf = reader(set_record(record))

    count = len(pdf.pages)
    assert count > 1
    for number, page in enumerate(pdf.pages, start=1):
        assert f"Page {number} of {count}" in page.extract_text()
        assert f"Record {record.digest[:16]}" in page.extract_text()
    assert pdf.page_labels == [str(number) for number in range(1, count + 1)]
    assert [entry.title for entry in pdf.outline] == [
        "Visit record",
        "The visit",
        "Readings",
        "What was added",
        "Cautions",
        "Inspection",
        "Defects found",
        "Photos",
        "Signature",
        "Sources",
        "How to verify this record",
    ]
    assert [pdf.get_destination_page_number(entry) for entry in pdf.outline] == sorted(
        pdf.get_destination_page_number(entry) for entry in pdf.outline
    )


def test_every_font_is_embedded(named: Firm, set_record: SetRecord) -> None:
    fonts = {}
    for page in reader(set_record(signed_visit(named, doses=DOSES))).pages:
        for font in page["/Resources"]["/Font"].values():
            described = font.get_object()
            fonts[described["/BaseFont"]] = "/FontFile2" in described["/FontDescriptor"]

    assert len(fonts) == 2
    assert all(fonts.values())


def test_the_file_says_what_it_is_and_bears_the_time_of_signing(named: Firm, set_record: SetRecord) -> None:
    record = signed_visit(named)
    pdf = reader(set_record(record))

    assert pdf.metadata is not None
    assert pdf.metadata.title == "Visit record, Garden tub, Hillside, Wed 3 Jun 2026"
    assert pdf.metadata.author == named.organisation.name
    assert pdf.metadata.subject == f"Visit record {record.digest}"
    assert pdf.metadata.creation_date == SIGNED
    assert pdf.root_object["/Lang"] == "en-GB"


def test_the_records_digest_and_how_to_verify_it_are_printed(named: Firm, set_record: SetRecord) -> None:
    record = signed_visit(named)

    text = text_of(set_record(record))

    assert record.digest == hashlib.sha256(record.canonical.encode()).hexdigest()
    assert record.digest in text
    assert "RFC 8785" in text


def elements(node: Any) -> Iterator[Any]:
    """Structure elements in reading order (ISO 32000-1:2008, 14.7)."""
    node = node.get_object() if isinstance(node, IndirectObject) else node
    if node.get("/Type") == "/MCR":
        return
    yield node
    kids = node.get("/K", [])
    for kid in kids if isinstance(kids, list) else [kids]:
        yield from elements(kid)


def test_the_structure_can_be_followed_by_a_screen_reader(named: Firm, set_record: SetRecord) -> None:
    pdf = reader(set_record(signed_visit(named, doses=DOSES, photos=[{"caption": "The strap"}])))
    tree = pdf.root_object["/StructTreeRoot"]
    found = list(elements(tree["/K"]))
    tags = [element["/S"] for element in found]

    assert pdf.root_object["/MarkInfo"]["/Marked"].value is True
    assert tags[0] == "/Document"
    assert tags.count("/H1") == 1
    assert {"/H2", "/P", "/Table", "/TR", "/TH", "/TD", "/Figure"} <= set(tags)
    alternatives = [element["/Alt"] for element in found if element["/S"] == "/Figure"]
    assert "The strap" in alternatives
    assert any(words.startswith("pH 7.4 ± 0.1, within 7.2 to 7.8") for words in alternatives)


def test_all_that_is_drawn_is_either_content_or_an_artifact(named: Firm, set_record: SetRecord) -> None:
    """Marked content opens and closes in turn and never nests; every piece of it is in the parent tree."""
    pdf = reader(set_record(signed_visit(named, before=BAD, after=GOOD, doses=DOSES)))
    numbers = pdf.root_object["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    for page, parents in zip(pdf.pages, numbers[1::2], strict=True):
        depth = pieces = 0
        for operands, operator in page.get_contents().operations:  # type: ignore[union-attr]
            if operator in (b"BDC", b"BMC"):
                assert depth == 0
                depth, pieces = 1, pieces + (operator == b"BDC")
            elif operator == b"EMC":
                depth = 0
            elif operator in (b"Tj", b"TJ", b"S", b"f", b"Do", b"B"):
                assert depth == 1, (operator, operands)
        assert pieces == len(parents.get_object())


def test_the_same_record_gives_the_same_bytes_on_any_day(named: Firm, set_record: SetRecord) -> None:
    record = signed_visit(named, before=BAD, after=GOOD, doses=DOSES, photos=[{}])
    first = set_record(record)

    with time_machine.travel(SIGNED + timedelta(days=400)):
        assert set_record(record) == first


def test_a_photo_in_the_file_is_the_one_whose_digest_is_printed(named: Firm, set_record: SetRecord) -> None:
    content = set_record(signed_visit(named, photos=[{"caption": "The strap"}]))
    photo = Photo.objects.get()

    pages = reader(content).pages
    images = [image for page in pages for image in page.images]
    groups = [page["/Resources"]["/XObject"] for page in pages if "/XObject" in page["/Resources"]]
    raw = [stream.get_object()._data for group in groups for stream in group.values()]

    assert len(images) == 1
    assert [hashlib.sha256(data).hexdigest() for data in raw] == [photo.digest]
    assert photo.digest in text_of(content)


def test_a_photo_that_is_gone_or_was_swapped_is_not_shown_as_evidence(
    named: Firm, set_record: SetRecord
) -> None:
    record = signed_visit(named, photos=[{"caption": "One"}, {"caption": "Two"}])
    one, two = Photo.objects.order_by("taken_at")
    one.file.storage.delete(one.file.name)
    with two.file.storage.open(two.file.name, "wb") as file:
        file.write(b"\xff\xd8 another picture")

    text = text_of(set_record(record))

    assert "The picture's file is missing." in text
    assert "not the one that was signed" in text


def test_the_owners_drawn_signature_is_a_picture_with_words(named: Firm, set_record: SetRecord) -> None:
    pdf = reader(set_record(signed_visit(named, owner_signature=drawn_signature())))

    alternatives = [element.get("/Alt") for element in elements(pdf.root_object["/StructTreeRoot"]["/K"])]
    assert "Drawn signature of the owner" in alternatives


def test_an_amendment_stands_beside_what_it_corrects_in_a_new_edition(
    named: Firm, set_record: SetRecord
) -> None:
    record = signed_visit(named)
    before = set_record(record)
    amended(record, named.technician, SIGNED + timedelta(days=1))

    assert set_record(record) == before
    text = text_of(set_record(record, edition=2))
    assert "edition 2, with corrections" in text
    readings = text[text.index("Readings ") : text.index("What was added")]
    assert "7.4 ± 0.1 within 7.2 to 7.8" in readings
    assert "Amended: it should say 7.6, not 7.4 (amendment 1)" in readings
    assert "Misread" in text[: text.index("Readings ")]


def test_a_correction_of_an_earlier_visit_is_marked_beside_its_figures(
    named: Firm, set_record: SetRecord
) -> None:
    earlier = signed_visit(named, at=SIGNED - timedelta(days=7))
    amended(earlier, named.technician, SIGNED - timedelta(days=1))

    text = text_of(set_record(signed_visit(named)))

    assert "27 May*" in text
    assert "has been corrected since" in text


def test_the_copy_for_the_owner_names_nobody_of_the_firm(named: Firm, set_record: SetRecord) -> None:
    meter = InstrumentFactory(organisation=named.organisation)
    record = signed_visit(
        named, before=BAD, after=GOOD, doses=DOSES, tasks=[{"kind": "cover"}], photos=[{}], instrument=meter
    )
    amended(record, named.office, SIGNED + timedelta(days=1))

    full, owners = (set_record(record, 2, kind) for kind in ReportKind)

    names = {named.technician.name, named.office.name}
    assert {name for name in names if name in text_of(full)} == names
    assert {name for name in names if name in text_of(owners)} == set()
    assert "technician 1" in text_of(owners)
    for raw in (*names, "Calloway"):
        assert raw.encode() not in owners


def test_access_codes_never_leave_with_a_record(named: Firm, set_record: SetRecord) -> None:
    named.site.access_code, named.site.access_notes = "7391-KEY", "Under the stone frog"
    named.site.save()

    text = text_of(set_record(signed_visit(named)))

    assert "7391-KEY" not in text
    assert "stone frog" not in text


def test_nothing_of_another_client_or_firm_is_in_a_record(
    named: Firm, stranger: Firm, set_record: SetRecord
) -> None:
    named.hidden_client.name, named.hidden_spa.name = "Otherwhere Hotel", "Roof tub"
    named.hidden_client.save()
    named.hidden_spa.save()
    signed_visit(named, named.hidden_spa, at=SIGNED - timedelta(days=1), before={**GOOD, "ph": "7.23"})

    text = text_of(set_record(signed_visit(named)))

    for secret in ("Otherwhere", "Roof tub", "7.23", stranger.organisation.name):
        assert secret not in text


def test_a_person_who_was_erased_is_no_longer_named(named: Firm, set_record: SetRecord) -> None:
    record = signed_visit(named)
    PersonalDatum.objects.filter(record=record, name="person.1").update(value="", erased_at=SIGNED)

    text = text_of(set_record(record))

    assert "Wren Calloway" not in text
    assert "(erased)" in text


def test_the_poppler_reader_finds_the_file_sound_and_tagged(named: Firm, set_record: SetRecord) -> None:
    """poppler-utils' pdfinfo, where it is installed: an independent reader of structure."""
    try:
        told = subprocess.run(
            ["pdfinfo", "-struct", "-"],
            input=set_record(signed_visit(named)),
            capture_output=True,
            check=True,
        )
    except FileNotFoundError:
        pytest.skip("pdfinfo (poppler-utils) is not installed")

    assert told.stderr == b""
    tags = told.stdout.decode().split()
    assert tags[0] == "Document"
    assert tags.count("H1") == 1
