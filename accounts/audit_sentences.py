"""The audit trail as sentences. An entry holds keys and figures; here they get words."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.apps import apps
from django.urls import NoReverseMatch, reverse

from accounts.models import AccessToken, AuditEvent, Person
from accounts.roles import Role

# What the person did, followed by what it was done to. Every action in the code stands here (tested).
PHRASES: dict[str, str] = {
    "agreement.added": "made an agreement",
    "agreement.changed": "changed an agreement",
    "agreement.ended": "ended an agreement",
    "base.changed": "changed the base of a technician",
    "base.set": "gave a technician a base",
    "batch.added": "added a batch",
    "batch.archived": "archived a batch",
    "batch.changed": "changed a batch",
    "batch.restored": "brought back a batch",
    "booking.added": "added a booking",
    "booking.cancelled": "cancelled a booking",
    "booking.changed": "changed a booking",
    "calendar.added": "added a calendar",
    "calendar.changed": "changed a calendar",
    "calendar.read": "read a calendar",
    "changeovercalendar.archived": "archived a calendar",
    "changeovercalendar.restored": "brought back a calendar",
    "client.access_granted": "let a rental manager see a client",
    "client.access_withdrawn": "hid a client from a rental manager",
    "client.added": "added a client",
    "client.archived": "archived a client",
    "client.changed": "changed a client",
    "client.guideline_chosen": "chose the guideline of a client",
    "client.restored": "brought back a client",
    "closure.opened": "closed a spa",
    "closure.renewed": "kept a spa closed",
    "closure.reopened": "reopened a spa",
    "defect.consent_recorded": "recorded the owner's answer to a defect",
    "defect.graded": "graded a defect",
    "defect.opened": "wrote down a defect",
    "defect.settled": "settled a defect",
    "firm.details_changed": "changed the firm's details",
    "firm.guideline_chosen": "chose the guideline of the firm",
    "firm.rows_changed": "changed many rows at once",
    "firm.second_factor_optional": "stopped asking everybody for a second factor",
    "firm.second_factor_required": "began to ask everybody for a second factor",
    "instrument.added": "added an instrument",
    "instrument.archived": "archived an instrument",
    "instrument.changed": "changed an instrument",
    "instrument.restored": "brought back an instrument",
    "invitation.accepted": "accepted an invitation",
    "invitation.clients_chosen": "chose the clients that an invitation will open",
    "invitation.sent": "sent an invitation",
    "invitation.withdrawn": "withdrew an invitation",
    "list.dropped": "dropped a list without importing it",
    "list.imported": "imported a list",
    "list.taken_back": "took an import back",
    "list.uploaded": "uploaded a list",
    "person.closed": "closed the account of",
    "person.details_changed": "changed their own name or telephone",
    "person.email_changed": "changed their own e-mail address",
    "person.factor_added": "added a second factor",
    "person.codes_renewed": "made new recovery codes",
    "person.factor_removed": "removed a second factor",
    "person.factors_forgotten": "removed the lost second factor of",
    "person.password_changed": "changed their password",
    "person.pin_changed": "changed their signing PIN",
    "person.reopened": "reopened the account of",
    "person.roles_changed": "changed the roles of",
    "person.sessions_ended": "signed out everywhere",
    "person.signed_in": "signed in",
    "product.added": "added a product",
    "product.archived": "archived a product",
    "product.changed": "changed a product",
    "product.restored": "brought back a product",
    "record.amended": "amended a record",
    "report.built": "built the PDF of a record",
    "round_calendar.made": "made a link to the calendar of their own rounds",
    "round_calendar.revoked": "ended the link to the calendar of their own rounds",
    "run.asked": "asked for background work",
    "run.cancelled": "stopped background work",
    "shift.added": "added a shift",
    "shift.changed": "changed a shift",
    "shift.removed": "removed a shift",
    "drive.entered": "entered a drive by hand",
    "drive.changed": "changed a drive entered by hand",
    "drive.removed": "removed a drive entered by hand",
    "site.added": "added a site",
    "site.archived": "archived a site",
    "site.changed": "changed a site",
    "site.guideline_chosen": "chose the guideline of a site",
    "site.product_gone": "took a product off a site",
    "site.product_kept": "noted a product kept at a site",
    "site.restored": "brought back a site",
    "site.supply_water_recorded": "recorded the supply water of a site",
    "skill.added": "added a skill",
    "spa.added": "added a spa",
    "spa.archived": "archived a spa",
    "spa.changed": "changed a spa",
    "spa.guideline_chosen": "chose the guideline of a spa",
    "spa.photo_added": "added a photo of a spa",
    "spa.photo_captioned": "changed the caption of a spa's photo",
    "spa.photo_removed": "removed a photo of a spa",
    "spa.restored": "brought back a spa",
    "token.made": "made an access token",
    "token.withdrawn": "withdrew an access token",
    "visit.cancelled": "cancelled a visit",
    "visit.decided": "asked for a decision at a visit",
    "visit.ended": "ended a visit without signing",
    "visit.governing_chosen": "chose which reading governs at a visit",
    "visit.handed_over": "handed over a visit",
    "visit.inspected": "changed the inspection of a visit",
    "visit.own_dose_added": "recorded a dose of their own at a visit",
    "visit.photo_added": "added a photo to a visit",
    "visit.photo_removed": "removed a photo from a visit",
    "visit.plan_changed": "changed the plan of a visit",
    "visit.planned": "planned a visit",
    "visit.reading_withdrawn": "withdrew a reading of a visit",
    "visit.readings_recorded": "recorded readings at a visit",
    "visit.signed": "signed a visit",
    "visit.started": "started a visit",
    "visit.step_done": "recorded a step of a visit as done",
    "visit.step_skipped": "skipped a step of a visit",
    "visit.task_changed": "changed a task of a visit",
    "week_plan.made": "planned a week",
    "week_plan.published": "published the plan of a week",
    "week_plan.set_aside": "put a plan of a week aside",
    "week_plan.taken_up": "took up a plan of a week that was put aside",
    "week_plan.unpublished": "took back the plan of a week",
    "week_plan.urgent_taken": "put an urgent visit into the plan of a week",
    "week_plan.visit_moved": "moved a visit in the plan of a week",
    "week_plan.visit_pinned": "pinned a visit in the plan of a week",
    "week_plan.visit_unassigned": "took a visit off its round in the plan of a week",
    "week_plan.visit_unpinned": "unpinned a visit in the plan of a week",
}
# Pages and names of what an entry is about; a room that is not there has no page.
_PAGES = {
    "accounts.person": "accounts:person",
    "sites.client": "sites:client",
    "sites.site": "sites:site",
    "sites.spa": "sites:spa",
    "visits.visit": "visits:visit",
}
_NAMED = (
    "accounts.accesstoken",
    "sites.client",
    "sites.site",
    "sites.spa",
    "stock.product",
    "stock.instrument",
)
# Units as names in the code end with them, longest first.
_UNITS = {"_mg_l": "mg/L", "_g_ml": "g/mL", "_l": "L", "_c": "°C", "_g": "g", "_kw": "kW"}
_KEY = re.compile(r"[0-9a-f]{8}-[0-9a-f-]{27}", re.IGNORECASE)


@dataclass(frozen=True)
class Entry:
    """One line of the trail."""

    at: datetime
    who: str
    did: str
    what: str
    url: str
    detail: str


def entries(events: Sequence[AuditEvent], people: Mapping[str, str]) -> list[Entry]:
    """The events as lines. ``people`` is key -> name of everybody at the firm.

    Asks the database once for each kind of thing that has a name.
    """
    names = dict(people) | _names_of(events)
    tokens = _tokens_of(events)
    return [
        Entry(
            at=event.at,
            who=_who(event, people, tokens),
            did=PHRASES.get(event.action, event.action.replace(".", ": ").replace("_", " ")),
            what="" if event.subject_id == str(event.actor_id) else names.get(event.subject_id, ""),
            url=_page_of(event),
            detail=in_words(event.detail),
        )
        for event in events
    ]


def _who(event: AuditEvent, people: Mapping[str, str], tokens: Mapping[str, str]) -> str:
    if not event.actor_id:
        return "Runnel"
    who = people.get(str(event.actor_id), "Somebody who was erased")
    token = event.detail.get("token")
    return f"{who}, through the token “{tokens.get(token, 'unknown')}”" if token else who


def _tokens_of(events: Sequence[AuditEvent]) -> dict[str, str]:
    """Names of the access tokens through which something was done."""
    keys = {event.detail["token"] for event in events if "token" in event.detail}
    if not keys:
        return {}
    return {str(key): token.name for key, token in AccessToken.objects.in_bulk(keys).items()}


def _names_of(events: Sequence[AuditEvent]) -> dict[str, str]:
    names: dict[str, str] = {}
    for label in _NAMED:
        keys = {event.subject_id for event in events if event.subject_type == label}
        if keys:
            rows: Any = apps.get_model(label)
            names |= {str(key): str(row) for key, row in rows.objects.in_bulk(keys).items()}
    return names


def _page_of(event: AuditEvent) -> str:
    name = _PAGES.get(event.subject_type)
    if name is None or event.subject_id == str(event.actor_id):
        return ""
    try:
        return reverse(name, args=[event.subject_id])
    except NoReverseMatch:
        return ""


def in_words(detail: Mapping[str, Any]) -> str:
    """The figures of an entry; keys of other rows are left out, they mean nothing to a reader.

    >>> in_words({"changed": ["volume_l"], "volume_l": ["1200", "1250"]})
    'changed: volume (L); volume (L): 1200 → 1250'
    >>> in_words({"added": ["rental_manager"]})
    'added: Rental manager'
    """
    said = []
    for name, value in detail.items():
        words = _value_in_words(name, value, detail)
        if words:
            said.append(f"{_plain(name)}: {words}")
    return "; ".join(said)


def _value_in_words(name: str, value: Any, detail: Mapping[str, Any]) -> str:
    if isinstance(value, list):
        is_change = name in detail.get("changed", ()) and len(value) == 2
        return (" → " if is_change else ", ").join(_plain(part) for part in value if part not in (None, ""))
    if isinstance(value, Mapping):
        return in_words(value)
    return _plain(value)


def _plain(value: Any) -> str:
    text = str(value)
    if _KEY.fullmatch(text):
        return ""
    if text in Role.values:
        return str(Role(text).label)
    for ending, unit in _UNITS.items():
        if text.endswith(ending):
            text = f"{text.removesuffix(ending)} ({unit})"
            break
    return text.replace("_", " ")


def names_of_people(people: Sequence[Person]) -> dict[str, str]:
    return {str(person.pk): person.name for person in people}
