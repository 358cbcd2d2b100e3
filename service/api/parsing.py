"""Reading a JSON body strictly: small, flat, whole text, each name once (RFC 8259; I-JSON, RFC 7493)."""

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import IO, Any, NoReturn

from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

from service.api.limits import BODY_MAX_BYTES, NESTING_MAX
from service.api.problems import TooLarge


class StrictJSONParser(BaseParser):
    """JSON alone. Numbers with a fraction stay as they were written (Decimal)."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Raises TooLarge, or ParseError with what is wrong in words."""
        body = stream.read(BODY_MAX_BYTES + 1)
        if len(body) > BODY_MAX_BYTES:
            raise TooLarge(f"A body has at most {BODY_MAX_BYTES // 1024} KB.")
        content = _read(body)
        _check(content, 1)
        return content


def _read(body: bytes) -> Any:
    try:
        return json.loads(
            body.decode("utf-8"),
            parse_float=Decimal,
            parse_constant=_no_number,
            object_pairs_hook=_each_name_once,
        )
    except UnicodeDecodeError as error:
        raise ParseError("The body is not UTF-8.") from error
    except RecursionError as error:
        raise _too_deep() from error
    except ValueError as error:
        raise ParseError(f"The body is not JSON: {error}.") from error


def _no_number(name: str) -> NoReturn:
    raise ParseError(f"{name} is not a number in JSON.")


def _each_name_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    content = dict(pairs)
    if len(content) < len(pairs):
        raise ParseError("A name stands twice in one object.")
    return content


def _check(value: Any, depth: int) -> None:
    if depth > NESTING_MAX:
        raise _too_deep()
    if isinstance(value, str):
        _check_text(value)
    elif isinstance(value, list):
        for item in value:
            _check(item, depth + 1)
    elif isinstance(value, dict):
        for name, item in value.items():
            _check_text(name)
            _check(item, depth + 1)


def _check_text(text: str) -> None:
    """No text that a database refuses: NUL, or half of a surrogate pair."""
    if "\x00" in text:
        raise ParseError("Text cannot hold the NUL character.")
    if any("\ud800" <= letter <= "\udfff" for letter in text):
        raise ParseError("Text cannot hold half of a surrogate pair.")


def _too_deep() -> ParseError:
    return ParseError(f"The body is nested too deeply: at most {NESTING_MAX} levels.")
