"""Programs of the firm the test is about."""

from typing import Any

import pytest

from accounts.roles import Role
from tests.api.asking import Program, program
from tests.personas import Firm


@pytest.fixture
def office(firm: Firm) -> Program:
    return program(firm, Role.OFFICE)


@pytest.fixture
def technician(firm: Firm) -> Program:
    return program(firm, Role.TECHNICIAN)


@pytest.fixture
def manager(firm: Firm) -> Program:
    return program(firm, Role.RENTAL_MANAGER)


@pytest.fixture
def nobody(db: Any) -> Program:
    return Program("")
