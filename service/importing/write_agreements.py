"""Writing agreements of a confirmed list, and setting them back."""

from collections.abc import Iterable, Sequence
from typing import Any
from uuid import UUID

from accounts.access import require
from accounts.models import Person
from accounts.roles import Action
from service.importing.kind import as_text
from service.importing.meanwhile import ChangedMeanwhile, Loaded, key_of, save_fields, stored_value
from service.importing.models import Effect
from service.importing.named import COLUMNS, LINKS, Named, now
from service.rounds.models import Agreement, AgreementSkill, BarredTechnician
from service.sites.archive import why_not_in_use
from service.sites.models import Spa

_LINK_ROWS: dict[str, tuple[Any, str]] = {
    "skills": (AgreementSkill, "skill_id"),
    "not_with": (BarredTechnician, "person_id"),
}


def write_agreements(rows: Sequence[Loaded], by: Person) -> None:
    """Add and change them. Raises ChangedMeanwhile; IntegrityError; NotAllowed."""
    require(by, Action.PLAN_VISITS)
    named = Named.of(by)
    for row, load in rows:
        _refuse_gone(row, load, named)
    new = [one for one in rows if one[0].effect == Effect.NEW]
    old = [one for one in rows if one[0].effect != Effect.NEW]
    agreements = [*_added(new, by), *_changed(old)]
    _set_links(agreements, new + old, "values")


def _refuse_gone(row: Any, load: dict[str, Any], named: Named) -> None:
    """People who are not sent any more since the preview, skills that are gone."""
    values, was = load["values"], load["was"]
    people = {*values.get("not_with", ()), *filter(None, [values.get("preferred_id")])}
    stood = {*was.get("not_with", ()), *filter(None, [was.get("preferred_id")])}
    if any(UUID(key) not in named.sent for key in people - stood):
        raise ChangedMeanwhile(row, "somebody it names does not carry out visits any more.")
    if any(UUID(key) not in named.skills for key in values.get("skills", ())):
        raise ChangedMeanwhile(row, "a skill it needs is no longer there.")


def _added(new: Sequence[Loaded], by: Person) -> list[Agreement]:
    spas = Spa.objects.select_related("site__client").in_bulk({load["parent"] for _, load in new})
    made = []
    for row, load in new:
        spa = spas.get(UUID(load["parent"]))
        if why := why_not_in_use(spa) if spa else "its spa is no longer there.":
            raise ChangedMeanwhile(row, why)
        agreement = Agreement(pk=row.object_id, organisation_id=by.organisation_id, spa=spa)
        _put(agreement, load["values"])
        made.append(agreement)
    _refuse_second(new, made)
    Agreement.objects.bulk_create(made)
    return made


def _refuse_second(new: Sequence[Loaded], made: Sequence[Agreement]) -> None:
    """Agreements that have been made meanwhile for the same spa, as often, from the same day."""
    known_by = ("spa_id", "frequency", "starts_on")
    spas = {agreement.spa_id for agreement in made}
    there = set(Agreement.objects.filter(spa__in=spas).order_by().values_list(*known_by))
    for (row, _), agreement in zip(new, made, strict=True):
        if tuple(getattr(agreement, name) for name in known_by) in there:
            raise ChangedMeanwhile(row, "the same has been agreed meanwhile.")


def _changed(old: Sequence[Loaded]) -> list[Agreement]:
    things = agreements_of(old)
    fields: set[str] = set()
    for row, load in old:
        agreement = things.get(key_of(row))
        if agreement is None:
            raise ChangedMeanwhile(row, "it is no longer there.")
        if why := why_not_in_use(agreement.spa):
            raise ChangedMeanwhile(row, why)
        if differing := agreement_differs(agreement, load["was"]):
            raise ChangedMeanwhile(row, f"{', '.join(differing)} of it has been changed meanwhile.")
        fields |= _put(agreement, load["values"])
    if fields:
        save_fields(Agreement, list(things.values()), fields)
    return list(things.values())


def agreements_of(rows: Iterable[Loaded]) -> dict[UUID, Agreement]:
    """The agreements of these rows, locked, with all that is compared; by key."""
    found = Agreement.objects.select_for_update(of=("self",)).select_related("spa__site__client")
    return found.prefetch_related("skills", "not_with").in_bulk([key_of(row) for row, _ in rows])


def set_back_agreements(rows: Sequence[Loaded]) -> None:
    """Take what was added away, and give what was changed its former values."""
    Agreement.objects.filter(pk__in=[row.object_id for row, _ in rows if row.effect == Effect.NEW]).delete()
    old = [one for one in rows if one[0].effect == Effect.CHANGED]
    things = agreements_of(old)
    fields: set[str] = set()
    for row, load in old:
        fields |= _put(things[key_of(row)], load["was"])
    if fields:
        save_fields(Agreement, list(things.values()), fields)
    _set_links(list(things.values()), old, "was")


def agreement_differs(agreement: Agreement, expected: dict[str, Any]) -> list[str]:
    """Columns in which an agreement is not as expected."""
    return [
        COLUMNS.get(name, name)
        for name, value in expected.items()
        if as_text(now(agreement, name)) != as_text(_stored(name, value))
    ]


def _stored(name: str, value: Any) -> Any:
    return value if name in LINKS else stored_value(Agreement, name, value)


def _put(agreement: Agreement, values: dict[str, Any]) -> set[str]:
    """Give an agreement its own values; the names of the fields that were given."""
    own = {name: value for name, value in values.items() if name not in LINKS}
    for name, value in own.items():
        setattr(agreement, name, stored_value(Agreement, name, value))
    return {Agreement._meta.get_field(name).name for name in own}


def _set_links(agreements: Sequence[Agreement], rows: Iterable[Loaded], which: str) -> None:
    """Make the skills and the people kept away those of each row's payload under ``which``."""
    by_key = {agreement.pk: agreement for agreement in agreements}
    for name, (model, other) in _LINK_ROWS.items():
        wanted = {key_of(row): load[which][name] for row, load in rows if name in load[which]}
        model.objects.filter(agreement__in=wanted).delete()
        model.objects.bulk_create(
            model(organisation_id=by_key[key].organisation_id, agreement_id=key, **{other: linked})
            for key, keys in wanted.items()
            if key in by_key
            for linked in keys
        )
