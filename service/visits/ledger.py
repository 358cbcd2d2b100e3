"""What was really put into a spa's water since it was last filled: the log that the next dose rests on."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from service.chemistry.substances import SUBSTANCES
from service.chemistry.units import BROMINE_G_MOL
from service.sites.models import Spa
from service.visits.changes import CHANGES_WATER, filled_at
from service.visits.models import StepState, Task, TaskKind, TreatmentStep

# Where no filling is on record, doses further back than this are not looked at.
LOOKS_BACK = timedelta(days=120)
MOST_DOSES = 500
_BROMIDE_G_MOL = BROMINE_G_MOL / 2


@dataclass(frozen=True)
class PastDose:
    """What is left in the water of one dose.

    mass_g  Of the pure substance, [g]: the amount added times its strength, less what later
            replacements of water carried off. Splashing and feeding by bathers are not counted.
    """

    substance: str
    mass_g: Decimal
    at: datetime
    form: str


def last_filled(spa: Spa, *, until: datetime | None = None) -> datetime | None:
    """When the spa was last drained and refilled, of what is on record; None: nothing is."""
    tasks = Task.objects.filter(visit__spa=spa, kind=TaskKind.DRAIN_REFILL).exclude(
        lines_done={}, done_at=None
    )
    moments = [moment for task in tasks if (moment := filled_at(task)) is not None]
    return max((moment for moment in moments if until is None or moment <= until), default=None)


def doses_in_water(spa: Spa, *, filled: datetime | None, until: datetime) -> list[PastDose]:
    """Every dose since the filling, or of the last 120 days where no filling is known, oldest first."""
    steps = TreatmentStep.objects.filter(
        visit__spa=spa,
        state=StepState.DONE,
        action__in=(*CHANGES_WATER, "load_feeder"),
        done_at__gt=filled or until - LOOKS_BACK,
        done_at__lte=until,
    ).select_related("product")
    left = Decimal(1)
    doses = []
    for step in steps.order_by("-done_at", "-order")[:MOST_DOSES]:
        if step.action == "replace_water":
            left *= 1 - Decimal(str(step.planned.get("replace_fraction", 0)))
        elif step.product and step.actual_mass_g and step.done_at:
            pure = step.actual_mass_g * step.product.active_fraction * left
            doses.append(PastDose(step.product.substance, pure, step.done_at, step.product.form))
    return doses[::-1]


def recent(doses: list[PastDose]) -> list[dict[str, Any]]:
    """The doses as the engine's request names them."""
    return [
        {
            "add": dose.substance,
            "mass_g": round(float(dose.mass_g), 3),
            "at": dose.at.isoformat(),
            "form": dose.form,
        }
        for dose in doses
    ]


def bromide_mg_l(doses: list[PastDose], *, volume_l: int, total_bromine_mg_l: Decimal) -> float:
    """Bromide in the water by the log, [mg/L as Br-]: all bromine ever added less what is active now.

    Only of use where every dose since the filling is on record. No field test reads bromide.
    """
    moles = sum(
        float(dose.mass_g) / SUBSTANCES[dose.substance].molar_mass_g_mol * _bromine_atoms(dose.substance)
        for dose in doses
    )
    # Active bromine is stated as Br2, so its milligrams are those of the bromine atoms in it.
    return round(max(moles * _BROMIDE_G_MOL * 1000 / volume_l - float(total_bromine_mg_l), 0.0), 2)


def _bromine_atoms(substance: str) -> float:
    adds = SUBSTANCES[substance].adds
    return adds.get("br", 0.0) + adds.get("bromine_i", 0.0)
