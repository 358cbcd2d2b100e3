"""The description is valid, whole and agreed on: a change of the API is a change of a file that is read."""

from io import StringIO
from pathlib import Path
from typing import Any

import yaml
from django.core.management import call_command

from service.api.schema import description
from tests.isolation.addresses_api import API

SNAPSHOT = Path(__file__).with_name("openapi.yaml")
COMMAND = "manage.py spectacular --validate --fail-on-warn --file tests/api/openapi.yaml"


def test_the_description_is_valid_and_the_one_that_was_agreed_on() -> None:
    made = StringIO()
    call_command("spectacular", validate=True, fail_on_warn=True, stdout=made)

    assert made.getvalue().strip() == SNAPSHOT.read_text().strip(), f"read the difference, then: {COMMAND}"


def test_it_is_openapi_3_1_and_names_every_address() -> None:
    schema: dict[str, Any] = description()

    assert schema["openapi"].startswith("3.1")
    assert len(schema["paths"]) == len(API) - len({"api:guide", "api:nowhere"})


def test_every_operation_says_how_it_refuses() -> None:
    for path, methods in description()["paths"].items():
        for method, operation in methods.items():
            codes = {"400", "401", "404", "429", "500"} | (
                {"409", "415", "422"} if method != "get" else set()
            )
            assert codes <= set(operation["responses"]), (method, path)
            assert operation["security"], (method, path)


def test_nothing_of_it_is_fetched_from_elsewhere() -> None:
    text = yaml.safe_dump(description())

    assert "http://" not in text
    assert "https://" not in text
