"""Addresses of rounds."""

from tests.isolation.address import FIRM, Address

ROUNDS: dict[str, Address] = {
    # The roads are everybody's; the name is that of another map than this machine's.
    "rounds:roads_drawing": Address(FIRM, fixed={"name": "other-roads"}, may_be_empty=True),
}
