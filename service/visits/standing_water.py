"""Which readings speak for the water at a moment: what was added since makes some of them worthless."""

from collections.abc import Iterable, Mapping
from datetime import datetime

from service.chemistry.guidelines.parameters import MICROBIOLOGY
from service.chemistry.substances import SUBSTANCES
from service.visits.changes import done_changes, drained_at, latest
from service.visits.models import Moment, Reading, TreatmentStep, Visit

# Whatever is added moves these, by its own nature, by dilution or by what it uses up.
ALWAYS_MOVED = frozenset(
    {
        "ph",
        "free_chlorine_mg_l",
        "total_chlorine_mg_l",
        "total_bromine_mg_l",
        "total_dissolved_solids_mg_l",
        "orp_mv",
        "turbidity_ntu",
    }
)
_MOVED_BY: Mapping[str, str] = {
    "ca": "calcium_hardness_mg_l",
    "cyanurate": "cyanuric_acid_mg_l",
    "borate": "borate_mg_l",
    "so4": "sulfate_mg_l",
    "dic": "total_alkalinity_mg_l",
}


def readings_at(visit: Visit, moment: str) -> list[Reading]:
    """The readings that speak for the water, one a parameter, those that govern.

    Before dosing: those of that moment. After: what was read since the last thing that moves the
    parameter, and of what nothing has moved, the reading from before. A laboratory's result stands
    until the laboratory is asked again.
    """
    readings = [reading for reading in visit.readings.all() if reading.governs]
    before = {reading.parameter: reading for reading in readings if reading.moment == Moment.BEFORE}
    if moment == Moment.BEFORE:
        return list(before.values())
    after = {reading.parameter: reading for reading in readings if reading.moment == Moment.AFTER}
    changes, drained = done_changes(visit), drained_at(visit)
    return [
        reading
        for parameter, reading in {**before, **after}.items()
        if not _outdated(reading, moved_at(parameter, changes, drained))
    ]


def moved_at(parameter: str, changes: Iterable[TreatmentStep], drained: datetime | None) -> datetime | None:
    """When something last moved a parameter; None when nothing did."""
    if parameter in MICROBIOLOGY:
        return None
    return latest([step.done_at for step in changes if moves(step, parameter)] + [drained])


def moves(step: TreatmentStep, parameter: str) -> bool:
    """Whether a dose or a replacement of water makes earlier readings of a parameter worthless."""
    if step.product is None:
        return True
    if parameter in ALWAYS_MOVED:
        return True
    substance = SUBSTANCES[step.product.substance]
    if parameter == "total_alkalinity_mg_l" and (substance.alkalinity_eq or substance.spent_alkalinity_eq):
        return True
    return any(_MOVED_BY.get(total) == parameter for total in substance.adds)


def _outdated(reading: Reading, moved: datetime | None) -> bool:
    return moved is not None and reading.taken_at <= moved
