"""What an empty firm still needs before its first round, told from the rows that are there."""

from dataclasses import dataclass

from django.db.models import Exists
from django.urls import reverse

from accounts.models import Organisation, Person, RoleGrant
from accounts.roles import Action, Role
from service.rounds.models import Agreement, PlanState, Shift, TechnicianBase, WeekPlan
from service.sites.models import Client, Site, Spa
from service.stock.models import Instrument, Product
from service.visits.models import Record, Visit


@dataclass(frozen=True)
class Step:
    """One step: its name, why it matters, whether it is done, and where it is done ("": by somebody else)."""

    name: str
    why: str
    is_done: bool
    action: str
    url: str


@dataclass(frozen=True)
class SettingUp:
    """The steps in their order. at_work: a visit is signed, so the firm is not held up by the rest."""

    steps: list[Step]
    at_work: bool

    @property
    def next(self) -> Step | None:
        return next((step for step in self.steps if not step.is_done), None)

    @property
    def done(self) -> int:
        return sum(step.is_done for step in self.steps)


def setting_up(*, by: Person) -> SettingUp:
    """The steps as they stand; one query."""
    have = _have(by)
    invite = reverse("accounts:invite") if by.may(Action.MANAGE_PEOPLE) else ""
    client = reverse("sites:client_new")
    steps = [
        Step(
            "People",
            "Who carries out visits. Somebody who works alone gives themselves a base and shifts.",
            have["technicians"] or have["bases"],
            "Invite a technician",
            invite,
        ),
        Step(
            "Base and shifts",
            "Where each technician's day begins and when they work: a week is planned by it.",
            have["bases"] and have["shifts"],
            "Enter base and shifts",
            reverse("rounds:roster"),
        ),
        Step(
            "Products",
            "With their strength: a dose is worked out from it.",
            have["products"],
            "Add a product",
            reverse("stock:product_new"),
        ),
        Step(
            "Instruments",
            "What the water is read with, and how closely it reads.",
            have["instruments"],
            "Add an instrument",
            reverse("stock:instrument_new"),
        ),
        Step("First client", "Who pays.", have["clients"], "Add a client, or bring in a list", client),
        Step(
            "First site",
            "Where the spas are. It is added on its client's page.",
            have["sites"],
            "Open the clients",
            reverse("sites:clients"),
        ),
        Step(
            "First spa",
            "Its volume and sanitiser. It is added on its site's page.",
            have["spas"],
            "Open the sites",
            reverse("sites:sites"),
        ),
        Step(
            "First agreement",
            "How often a spa is visited.",
            have["agreements"],
            "Make an agreement",
            reverse("rounds:agreements"),
        ),
        Step(
            "First week",
            "Planned from the agreements and published, or a visit planned by hand.",
            have["weeks"] or have["visits"],
            "Plan the first week",
            reverse("rounds:week"),
        ),
    ]
    return SettingUp(steps, at_work=have["records"])


def is_to_be_set_up(*, by: Person) -> bool:
    """Whether the person plans visits and the firm has neither finished these steps nor begun to work."""
    if not by.may(Action.PLAN_VISITS):
        return False
    standing = setting_up(by=by)
    return standing.next is not None and not standing.at_work


def _have(by: Person) -> dict[str, bool]:
    technicians = RoleGrant.objects.filter(
        role=Role.TECHNICIAN, person__organisation=by.organisation_id, person__is_active=True
    )
    there = {
        "technicians": technicians,
        "bases": TechnicianBase.objects.all(),
        "shifts": Shift.objects.all(),
        "products": Product.objects.filter(archived_at=None),
        "instruments": Instrument.objects.filter(archived_at=None),
        "clients": Client.objects.filter(archived_at=None),
        "sites": Site.objects.filter(archived_at=None),
        "spas": Spa.objects.filter(archived_at=None),
        "agreements": Agreement.objects.all(),
        "weeks": WeekPlan.objects.filter(state=PlanState.PUBLISHED),
        "visits": Visit.objects.all(),
        "records": Record.objects.all(),
    }
    firm = Organisation.objects.filter(pk=by.organisation_id)
    asked = firm.values(**{f"has_{name}": Exists(rows.order_by()) for name, rows in there.items()})
    return {name.removeprefix("has_"): bool(found) for name, found in asked.get().items()}
