"""What is exported and brought in again changes nothing, whatever stands in the rows."""

import csv
import io
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django_scopes import scope
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from service.chemistry.substances import SUBSTANCES
from service.importing.columns import KINDS
from service.importing.encoding import python_name
from service.importing.export import list_file
from service.importing.kind import plain_text
from service.importing.models import Effect
from service.sites.models import Client, ClientKind, Sanitiser, Shell, Site, Spa
from service.visits.models import ImportedReading
from service.visits.parameters import TESTS
from tests.importing.listing import problems, uploaded
from tests.personas import Firm

A_FEW = settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
# Signs that mean something to a list or a spreadsheet come often.
LETTERS = st.one_of(
    st.sampled_from("=+-@'\",;|\t\n\r ＝<>&_x000A_"),
    st.characters(exclude_categories=["Cs"], exclude_characters="\0"),
)


def words(longest: int, shortest: int = 0) -> st.SearchStrategy[str]:
    """What a form's text field keeps: no blank ends."""
    text = st.text(LETTERS, min_size=shortest, max_size=longest).map(str.strip)
    return text.filter(lambda found: len(plain_text(found)) >= shortest)


def tenths(low: int, high: int) -> st.SearchStrategy[Decimal]:
    return st.decimals(low, high, places=1)


CLIENT = st.fixed_dictionaries(
    {"name": words(30, 1), "kind": st.sampled_from(ClientKind.values), "phone": words(12), "notes": words(60)}
)
SPA = st.fixed_dictionaries(
    {
        "name": words(30, 1),
        "volume_l": st.integers(100, 20000),
        "shell": st.sampled_from(Shell.values),
        "sanitiser": st.sampled_from(Sanitiser.values),
        "set_temperature_c": tenths(5, 40),
        "heater_kw": st.none() | tenths(0, 100),
        "bather_capacity": st.none() | st.integers(1, 60),
        "commissioned_on": st.none() | st.dates(date(1950, 1, 1), date(2100, 12, 31)),
        "forbidden_substances": st.lists(st.sampled_from(sorted(SUBSTANCES)), unique=True, max_size=3),
        "notes": words(60),
    }
)
POSITION = st.tuples(st.decimals(-90, 90, places=6), st.decimals(-180, 180, places=6)) | st.just((None, None))


def unchanged(firm: Firm, kind: str, data: bytes, name: str) -> None:
    listing = uploaded(firm, kind, data, name)
    assert problems(listing) == []
    assert listing.problem == ""
    assert listing.count(Effect.NEW) == listing.count(Effect.CHANGED) == listing.count(Effect.WRONG) == 0
    assert listing.count(Effect.SAME) > 0


def exported(firm: Firm, kind: str, form: str) -> bytes:
    with list_file(kind, form, firm.office) as file:
        return file.read()


def template(kind: str, form: str) -> bytes:
    with list_file(kind, form, None) as file:
        return file.read()


@A_FEW
@given(clients=st.lists(CLIENT, max_size=4), spas=st.lists(SPA, max_size=4), position=POSITION)
def test_an_export_brought_in_again_changes_nothing(
    in_firm: Firm, clients: list[dict[str, Any]], spas: list[dict[str, Any]], position: Any
) -> None:
    owned = {"organisation": in_firm.organisation}
    Spa.objects.filter(site=in_firm.site).exclude(pk=in_firm.spa.pk).delete()
    Client.objects.exclude(pk__in=[in_firm.client.pk, in_firm.hidden_client.pk]).delete()
    # Two alike, without a reference: only the key can tell them apart.
    for number, fields in enumerate([*clients, *clients]):
        Client.objects.create(**owned, **fields, reference=f"C{number}" if number < len(clients) else "")
    for fields in [*spas, *spas]:
        Spa.objects.create(**owned, site=in_firm.site, **fields)
    Site.objects.filter(pk=in_firm.site.pk).update(latitude=position[0], longitude=position[1])

    for kind in ("client", "site", "spa"):
        for form in ("csv", "xlsx"):
            unchanged(in_firm, kind, exported(in_firm, kind, form), f"x.{form}")
    unchanged(in_firm, "all", exported(in_firm, "all", "xlsx"), "x.xlsx")


@A_FEW
@given(
    rows=st.lists(
        st.tuples(
            st.sampled_from(TESTS),
            st.sampled_from(["", "<", ">"]),
            st.decimals(0, 14, places=2),
            st.sampled_from(["", "photometer"]),
            st.timedeltas(timedelta(0), timedelta(days=9000)),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_readings_come_back_as_they_left(in_firm: Firm, rows: list[Any]) -> None:
    ImportedReading.objects.all().delete()
    for test, bound, value, method, ago in rows:
        at = (datetime(2026, 5, 31, 12, tzinfo=UTC) - ago).replace(microsecond=0)
        ImportedReading.objects.get_or_create(
            spa=in_firm.spa,
            parameter=test.parameter,
            taken_at=at,
            defaults={
                "organisation": in_firm.organisation,
                "typed": f"{value}",
                "typed_unit": test.unit,
                "value": value,
                "bound": bound,
                "method": method,
                "list_key": in_firm.spa.pk,
                "imported_by": in_firm.office,
            },
        )

    for form in ("csv", "xlsx"):
        unchanged(in_firm, "reading", exported(in_firm, "reading", form), f"x.{form}")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16le", "windows-1252", "iso-8859-15"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_an_export_saved_by_another_program_changes_nothing(
    in_firm: Firm, encoding: str, delimiter: str
) -> None:
    Client.objects.filter(pk=in_firm.client.pk).update(name="Göran's Häuser", notes='=1+1; é, "ß"\nzwei')
    text = exported(in_firm, "client", "csv").decode("utf-8-sig")
    saved = io.StringIO(newline="")
    csv.writer(saved, delimiter=delimiter, lineterminator="\n").writerows(
        csv.reader(io.StringIO(text, newline=""))
    )
    data = saved.getvalue().encode(python_name(encoding))

    listing = uploaded(in_firm, "client", data)

    assert problems(listing) == []
    assert listing.count(Effect.NEW) == listing.count(Effect.CHANGED) == 0


def test_sealed_columns_never_leave(in_firm: Firm) -> None:
    text = exported(in_firm, "site", "csv").decode("utf-8-sig")

    assert "4711" not in text
    assert "Side gate" not in text
    assert "access_code" not in text
    assert "access_code" in template("site", "csv").decode("utf-8-sig")


def test_no_cell_of_an_export_is_a_formula(in_firm: Firm) -> None:
    Client.objects.update(name="=1+1", phone="+44", notes="@cmd")

    text = exported(in_firm, "client", "csv").decode("utf-8-sig")
    book = load_workbook(io.BytesIO(exported(in_firm, "client", "xlsx")))

    assert all(not cell.startswith(tuple("=+-@")) for row in csv.reader(io.StringIO(text)) for cell in row)
    assert {cell.data_type for row in book["Clients"].iter_rows() for cell in row} <= {"s", "n"}


def test_another_firms_rows_never_leave(in_firm: Firm, stranger: Firm) -> None:
    text = exported(in_firm, "all", "xlsx")
    names = {
        cell.value for sheet in load_workbook(io.BytesIO(text)) for row in sheet.iter_rows() for cell in row
    }

    assert in_firm.client.name in names
    with scope(organisation=stranger.organisation):
        assert str(stranger.client.pk) not in names


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_a_template_is_the_first_line_of_a_list(in_firm: Firm, kind: str, form: str) -> None:
    listing = uploaded(in_firm, kind, template(kind, form), f"x.{form}")

    assert listing.problem == "The list has no rows below its first line."
    assert listing.left_out == {}


@pytest.mark.parametrize("kind", KINDS)
def test_the_examples_of_the_columns_are_taken(in_firm: Firm, kind: str) -> None:
    Client.objects.filter(pk=in_firm.client.pk).update(reference="C-014")
    Site.objects.filter(pk=in_firm.site.pk).update(reference="S-031" if kind != "site" else "")
    Spa.objects.filter(pk=in_firm.spa.pk).update(reference="T-052" if kind != "spa" else "")
    columns = [column for column in KINDS[kind].columns if column.example]
    text = io.StringIO(newline="")
    csv.writer(text).writerows([[column.name for column in columns], [column.example for column in columns]])

    listing = uploaded(in_firm, kind, text.getvalue())

    assert problems(listing) == []
    assert listing.count(Effect.WRONG) == 0
