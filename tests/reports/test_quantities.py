"""The worked examples in the docstrings hold."""

import doctest

from reports import quantities


def test_amounts_read_as_their_examples_say() -> None:
    tried = doctest.testmod(quantities)

    assert tried.attempted >= 6
    assert tried.failed == 0
