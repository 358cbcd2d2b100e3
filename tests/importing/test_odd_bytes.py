"""Whatever bytes are brought in, there is a clear answer: rows, or words. Never a failure of ours."""

from typing import Any

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from service.importing.columns import KINDS
from service.importing.models import ListState
from tests.importing.listing import problems, uploaded, workbook
from tests.personas import Firm

GOOD = b"reference;name;volume_l;site\nT1;Tub;900;Mill Barn\nT2;Tub 2;1.250;Mill Barn\n"
BOOK = workbook({"Spas": [["reference", "name", "volume_l"], ["T1", "Tub", 900]]})
MANY = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def spoilt(data: bytes) -> Any:
    """The bytes with some of them replaced, cut off or repeated."""
    change = st.tuples(st.integers(0, len(data)), st.binary(max_size=6), st.integers(0, 8))
    return st.lists(change, max_size=6).map(lambda changes: _spoil(data, changes))


def _spoil(data: bytes, changes: list[tuple[int, bytes, int]]) -> bytes:
    for at, put, over in changes:
        data = data[:at] + put + data[at + over :]
    return data or b"x"


@MANY
@given(
    data=st.one_of(st.binary(min_size=1, max_size=400), spoilt(GOOD), spoilt(BOOK)),
    kind=st.sampled_from([*KINDS, "all"]),
)
@example(data=b"name\n\0\n", kind="client")
@example(data=b"name,reference\n" + b"\xff\xfe,1\n", kind="client")
@example(data=b"\xff\xfea", kind="client")
@example(data=b"PK\x05\x06" + b"\0" * 18, kind="spa")
@example(data=b"runnel_key\n" + b"9" * 400, kind="spa")
@example(
    data=b"taken_at;spa;ph\n0001-01-01T00:00:00+23:59;x;1e9\n9999-12-31T23:59:59-23:59;x;NaN", kind="reading"
)
@example(data=b"spa;frequency;starts_on;times_a_week;window_from;weekdays\nx;x;1;2;25:61;8", kind="agreement")
@example(data="spa_reference;taken_at;ph\nT;٣٫٤;²\n".encode(), kind="reading")
@example(data="name;volume_l;site\nA;٩٠٠;Mill Barn\nB;Infinity;\nC;1e999999;\n".encode(), kind="spa")
def test_odd_bytes_get_a_clear_answer(in_firm: Firm, data: bytes, kind: str) -> None:
    listing = uploaded(in_firm, kind, data, "x.csv")

    if listing.state == ListState.UNREADABLE:
        assert listing.problem.endswith((".", "below.")) or ":" in listing.problem
    else:
        assert listing.state == ListState.READY
        assert all(message for _, _, message in problems(listing))
