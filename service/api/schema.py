"""The description of the API (OpenAPI 3.1), made from the code and served to those who may use it."""

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

from django.conf import settings
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from service.api.authentication import BearerToken, SignedInReader
from service.api.limits import KEY_LONGEST
from service.api.permissions import IsSomebody
from service.api.problems import MEDIA_TYPE, TITLES
from service.api.view import ApiView

WRITES = ("post", "patch")
_EVERYWHERE = (400, 401, 404, 406, 429, 500)
_ON_WRITES = (409, 413, 415, 422)

KEY_PARAMETER = OpenApiParameter(
    "Idempotency-Key",
    {"type": "string", "minLength": 1, "maxLength": KEY_LONGEST, "pattern": r"^[\x21-\x7e]+$"},
    OpenApiParameter.HEADER,
    description="A key of your own, new for each new request and the same when you try again.",
)
IF_MATCH = OpenApiParameter(
    "If-Match",
    {"type": "string", "pattern": r'^"\d{1,9}"$'},
    OpenApiParameter.HEADER,
    description="The revision that you saw, as the ETag gave it; in place of `revision` in the body.",
)


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = BearerToken
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        return {"type": "http", "scheme": "bearer", "description": "An access token of the firm."}


class SessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = SignedInReader
    name = "session"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        cookie = {"type": "apiKey", "in": "cookie", "name": settings.SESSION_COOKIE_NAME}
        return {**cookie, "description": "A browser that is signed in; for this description alone."}


class Described(AutoSchema):
    """Adds what every write has: its key, and for a visit the revision that was seen."""

    def get_override_parameters(self) -> list[Any]:
        if self.method.lower() not in WRITES:
            return []
        key = KEY_PARAMETER if self.method == "PATCH" else _required(KEY_PARAMETER)
        return [key, IF_MATCH] if "/visits/{id}/" in self.path else [key]


def _required(parameter: OpenApiParameter) -> OpenApiParameter:
    return OpenApiParameter(
        parameter.name,
        parameter.type,
        parameter.location,
        required=True,
        description=parameter.description,
    )


def with_problems(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Say of every operation how it refuses, and that bodies hold nothing unknown."""
    for section, parts in problem_components().items():
        result["components"].setdefault(section, {}).update(parts)
    for _path, method, operation in _operations(result):
        codes = [*_EVERYWHERE, *(_ON_WRITES if method in WRITES else ())]
        for code in codes:
            operation["responses"][str(code)] = {"$ref": f"#/components/responses/Problem{code}"}
    for name in _named_in_bodies(result):
        result["components"]["schemas"][name]["additionalProperties"] = False
    return result


def _operations(schema: Mapping[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, methods in schema["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def _named_in_bodies(schema: Mapping[str, Any]) -> set[str]:
    """Names of the shapes that bodies are made of, those inside others too."""
    found: set[str] = set()
    waiting = [operation.get("requestBody", {}) for _, _, operation in _operations(schema)]
    while waiting:
        part = waiting.pop()
        if isinstance(part, list):
            waiting += part
        elif isinstance(part, dict):
            name = str(part.get("$ref", "")).rpartition("/")[2]
            shape = schema["components"]["schemas"].get(name)
            if shape and name not in found and shape.get("type") == "object":
                found.add(name)
                waiting.append(shape)
            waiting += part.values()
    return found


def problem_components() -> dict[str, Any]:
    """The shape of a refusal, and one response for each status."""
    error = {
        "type": "object",
        "properties": {"field": {"type": "string"}, "message": {"type": "string"}},
        "required": ["field", "message"],
    }
    change = {
        "type": "object",
        "properties": {
            "at": {"type": "string", "format": "date-time"},
            "by": {"type": "string"},
            "what": {"type": "string"},
        },
        "required": ["at", "by", "what"],
    }
    problem = {
        "type": "object",
        "description": "What went wrong (RFC 9457). `errors` names each field that is wrong.",
        "properties": {
            "type": {"type": "string", "format": "uri-reference"},
            "title": {"type": "string"},
            "status": {"type": "integer"},
            "detail": {"type": "string"},
            "errors": {"type": "array", "items": error},
            "revision": {"type": "integer", "description": "Of a visit that was changed meanwhile."},
            "changes": {"type": "array", "items": change},
        },
        "required": ["type", "title", "status", "detail", "errors"],
    }
    titles: dict[int, list[str]] = {}
    for code, title in TITLES.values():
        titles.setdefault(code, []).append(title)
    content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    responses = {
        f"Problem{code}": {"description": ", or: ".join(said), "content": content}
        for code, said in titles.items()
    }
    return {"schemas": {"Problem": problem}, "responses": responses}


@cache
def description() -> dict[str, Any]:
    """The whole description; made once in a process, since it is the same for everybody."""
    schema: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    return schema


class Schema(ApiView):
    """The description itself, for a token or for somebody who is signed in."""

    authentication_classes = [BearerToken, SignedInReader]
    permission_classes = [IsSomebody]

    @extend_schema(operation_id="read_schema", responses={200: OpenApiTypes.OBJECT})
    def get(self, request: Request) -> Response:
        return Response(description())
