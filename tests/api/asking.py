"""Another program in the tests: it holds a token and asks in JSON."""

import json
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from django.test import Client as Browser
from django_scopes import scope

from accounts.models import AccessToken
from accounts.roles import Role
from accounts.tokens import make_token
from tests.personas import Firm

ROOT = "/api/v1/"
PROBLEM = "application/problem+json"


def token_of(
    firm: Firm, role: Role, *, name: str = "Booking sync", days: int = 30
) -> tuple[AccessToken, str]:
    """A token made by the firm's owner."""
    manager = firm.rental_manager if role == Role.RENTAL_MANAGER else None
    with scope(organisation=firm.organisation):
        return make_token(name=name, role=role, days=days, by=firm.owner, manager=manager)


@dataclass
class Program:
    """Asks with one token; ``secret`` empty: without any."""

    secret: str
    token: AccessToken | None = None
    browser: Browser = field(default_factory=Browser)

    def ask(
        self,
        method: str,
        path: str,
        body: Any = None,
        *,
        key: str = "",
        raw: bytes | None = None,
        **more: Any,
    ) -> Any:
        """``path`` below the root or whole. A POST gets a fresh key unless one is given ("-": none)."""
        headers = {"Authorization": f"Bearer {self.secret}"} if self.secret else {}
        if method == "POST" and key != "-":
            headers["Idempotency-Key"] = key or str(uuid4())
        elif key and key != "-":
            headers["Idempotency-Key"] = key
        headers |= more.pop("headers", {})
        content = raw if raw is not None else (b"" if body is None else json.dumps(body).encode())
        url = path if path.startswith("/") else ROOT + path
        more.setdefault("content_type", "application/json")
        if method in ("GET", "HEAD"):
            more.pop("content_type")
            return self.browser.generic(method, url, headers=headers, **more)
        return self.browser.generic(method, url, content, headers=headers, **more)

    def get(self, path: str, **more: Any) -> Any:
        return self.ask("GET", path, **more)

    def post(self, path: str, body: Any = None, **more: Any) -> Any:
        return self.ask("POST", path, body, **more)

    def patch(self, path: str, body: Any = None, **more: Any) -> Any:
        return self.ask("PATCH", path, body, **more)


def program(firm: Firm, role: Role, **more: Any) -> Program:
    token, secret = token_of(firm, role, **more)
    return Program(secret, token)


def problem_of(answer: Any, status: int) -> dict[str, Any]:
    """The problem that an answer tells, after checking that it has the one shape."""
    assert answer.status_code == status, (answer.status_code, answer.content[:500])
    assert answer["Content-Type"] == PROBLEM
    told: dict[str, Any] = json.loads(answer.content)
    assert {"type", "title", "status", "detail", "errors"} <= set(told)
    assert told["status"] == status
    assert all(set(error) == {"field", "message"} for error in told["errors"])
    return told


def fields_of(answer: Any, status: int = 400) -> list[str]:
    """The fields that a problem names."""
    return [error["field"] for error in problem_of(answer, status)["errors"]]
