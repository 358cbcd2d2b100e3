"""The few places a person goes to, by what they may do. The first one is their home."""

from dataclasses import dataclass

from accounts.models import Person
from accounts.roles import Action


@dataclass(frozen=True)
class Place:
    name: str
    url_name: str


def places_for(person: Person) -> list[Place]:
    """Where ``person`` can go, most used first. Empty for somebody without a role."""
    places = []
    if person.may(Action.CARRY_OUT_VISITS) and not person.may(Action.PLAN_VISITS):
        places.append(Place("Today", "visits:today"))
    if person.may(Action.PLAN_VISITS):
        places += [Place("Week", "rounds:week"), Place("Attention", "office:attention")]
        places += [Place("Visits", "visits:planned"), Place("Agreements", "rounds:agreements")]
        if person.may(Action.CARRY_OUT_VISITS):
            places.append(Place("Today", "visits:today"))
    if person.may(Action.SEE_OWN_CLIENTS):
        places.append(Place("My tubs", "reports:my_tubs"))
    if person.may(Action.SEE_FIRM):
        places += [Place("Clients", "sites:clients"), Place("Spas", "sites:spas")]
        places += [Place("Records", "visits:records"), Place("Search", "sites:search")]
        if not person.may(Action.PLAN_VISITS):
            places.append(Place("Week", "rounds:week"))
    if person.may(Action.EDIT_STOCK):
        places.append(Place("Products", "stock:products"))
    if person.may(Action.IMPORT_LISTS):
        places.append(Place("Lists", "importing:lists"))
    if person.may(Action.MANAGE_PEOPLE):
        places += [Place("People", "accounts:people"), Place("Audit trail", "accounts:audit_trail")]
    return places
