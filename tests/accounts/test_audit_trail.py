"""The audit trail reads as sentences, for the owner alone, filtered and in pages."""

import ast
import re
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.utils import timezone
from django_scopes import scope

from accounts.audit import record_event
from accounts.audit_sentences import PHRASES
from accounts.models import AuditEvent
from accounts.roles import Role
from tests.personas import Firm

URL = "/people/audit-trail/"


_WRITERS = {"record_event", "note", "_note", "_record"}


def _actions_in_the_code() -> set[str]:
    """Every namespaced action that is written down in a call that puts it on the trail."""
    found: set[str] = set()
    for room in ("accounts", "service", "reports"):
        for file in (settings.BASE_DIR / room).rglob("*.py"):
            for call in ast.walk(ast.parse(file.read_text())):
                if isinstance(call, ast.Call):
                    found |= _actions_in(call)
    return found


def _actions_in(call: ast.Call) -> set[str]:
    name = getattr(call.func, "id", getattr(call.func, "attr", ""))
    arguments = [word.value for word in call.keywords if word.arg == "action"]
    if name in _WRITERS:
        arguments += call.args
    texts = (
        part.value
        for argument in arguments
        for part in ast.walk(argument)
        if isinstance(part, ast.Constant) and isinstance(part.value, str)
    )
    return {text for text in texts if re.fullmatch(r"[a-z]*\.[a-z_]+", text)}


def test_every_action_in_the_code_has_words() -> None:
    # A part such as ".archived" is put behind the kind of row, so each kind that has one must have words.
    actions = _actions_in_the_code()
    parts = {action for action in actions if action.startswith(".")}

    assert actions - parts - set(PHRASES) == set()
    assert {part for part in parts if not any(phrase.endswith(part) for phrase in PHRASES)} == set()


def test_an_entry_reads_as_a_sentence_with_its_figures(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        record_event(
            action="spa.changed",
            subject=firm.spa,
            by=firm.office,
            detail={"changed": ["volume_l"], "volume_l": ["1200", "1250"]},
        )

    page = sign_in(firm.owner).get(URL).content.decode()

    assert f"<strong>{firm.office.name}</strong> changed a spa" in page
    assert firm.spa.name in page
    assert "volume (L): 1200 → 1250" in page


@pytest.mark.parametrize("role", [Role.OFFICE, Role.TECHNICIAN, Role.RENTAL_MANAGER, Role.AUDITOR])
def test_only_the_owner_reads_the_trail(role: Role, firm: Firm, sign_in: Any) -> None:
    assert sign_in(firm.people[role]).get(URL).status_code == 404


def test_another_firms_entries_are_not_in_it(firm: Firm, stranger: Firm, sign_in: Any) -> None:
    with scope(organisation=stranger.organisation):
        record_event(action="spa.added", subject=stranger.spa, by=stranger.owner)

    page = sign_in(firm.owner).get(URL).content.decode()

    assert "Nothing yet" in page
    assert stranger.owner.name not in page


def test_filters_leave_what_was_asked_for(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        record_event(action="spa.added", subject=firm.spa, by=firm.office)
        record_event(action="client.added", subject=firm.client, by=firm.owner)
        AuditEvent.objects.create(
            organisation=firm.organisation,
            at=timezone.now() - timedelta(days=40),
            actor_id=firm.office.pk,
            action="site.added",
            subject_type="sites.site",
            subject_id=str(firm.site.pk),
        )
    browser, today = sign_in(firm.owner), timezone.localdate().isoformat()
    added = ("spa.added", "client.added", "site.added")

    def shown(**wanted: str) -> set[str]:
        page = browser.get(URL, wanted).content.decode()
        return {action for action in added if f"{PHRASES[action]} " in page}

    assert shown(about="spa") == {"spa.added"}
    assert shown(who=str(firm.owner.pk)) == {"client.added"}
    assert shown(since=today) == {"spa.added", "client.added"}
    assert shown(until=(timezone.localdate() - timedelta(days=30)).isoformat()) == {"site.added"}


def test_days_the_wrong_way_round_are_told_and_nothing_is_hidden(firm: Firm, sign_in: Any) -> None:
    page = sign_in(firm.owner).get(URL, {"since": "2026-03-02", "until": "2026-03-01"}).content.decode()

    assert "This day lies before the first one." in page


def test_a_long_trail_comes_in_pages_with_few_questions(
    firm: Firm, sign_in: Any, django_assert_max_num_queries: Any
) -> None:
    with scope(organisation=firm.organisation):
        for _ in range(60):
            record_event(action="spa.changed", subject=firm.spa, by=firm.office)
    browser = sign_in(firm.owner)

    with django_assert_max_num_queries(12):
        first = browser.get(URL).content.decode()
    second = browser.get(URL, {"page": 2}).content.decode()

    assert "Page 1 of 2" in first
    assert (first.count("changed a spa"), second.count("changed a spa")) == (50, 10)


def test_what_is_further_back_is_reached_by_the_days(
    firm: Firm, sign_in: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("accounts.views.trail.MOST_ENTRIES", 2)
    with scope(organisation=firm.organisation):
        for action in ("spa.added", "spa.changed", "spa.archived"):
            record_event(action=action, subject=firm.spa, by=firm.office)

    page = sign_in(firm.owner).get(URL).content.decode()

    assert "The newest 2; narrow the days for earlier ones." in page
    assert "archived a spa" in page
    assert "added a spa" not in page


def test_somebody_who_was_erased_leaves_a_readable_entry(firm: Firm, sign_in: Any) -> None:
    with scope(organisation=firm.organisation):
        AuditEvent.objects.create(
            organisation=firm.organisation,
            actor_id="00000000-0000-4000-8000-000000000000",
            action="spa.added",
            subject_type="sites.spa",
            subject_id=str(firm.spa.pk),
        )

    assert "Somebody who was erased" in sign_in(firm.owner).get(URL).content.decode()
