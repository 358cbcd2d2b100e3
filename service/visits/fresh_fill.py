"""The order of a drain and refill: one line after the other, the breaker first.

The heater runs dry and the pump's seal burns when the level falls with the power on; hot water
without sanitiser breeds; so the order is kept, and a line that does not apply is passed with a
reason. Order and lines: common practice, no source; the two minutes of flushing: HSG282 (2017),
domestic-type table, read second-hand.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from service.sites.models import Sanitiser, Spa
from service.visits.changes import FILLED_LINE


@dataclass(frozen=True)
class Line:
    """One line of the sequence. systems: sanitisers it concerns; all when empty."""

    key: str
    text: str
    systems: tuple[str, ...] = ()


FRESH_FILL: tuple[Line, ...] = (
    Line("breaker_off", "Breaker off, before the level falls. Lock it or tag it."),
    Line("old_water_tested", "Old water tested and written down. Add nothing to it: it goes."),
    Line("lines_purged", "Lines purged as the product's label says, feeder and filter taken out."),
    Line("discharged", "Sanitiser neutralised, water let out only where the law allows it."),
    Line("cleaned", "Shell, strainers, jets and filter housing cleaned and rinsed."),
    Line(FILLED_LINE, "Filled through a hose flushed for two minutes, above the intakes and jets."),
    Line("breaker_on", "Filter in, breaker on, pumps run without air, no leak."),
    Line(
        "supply_tested", "New water tested: supply readings, and metals where the supply is known for them."
    ),
    Line("alkalinity_and_ph", "Alkalinity, then pH, as the decision says."),
    Line("hardness", "Hardness, as the decision says."),
    Line("bromide_bank", "Bromide bank laid down, as the decision says.", (Sanitiser.BROMINE,)),
    Line("sanitiser", "Sanitiser, as the decision says.", (Sanitiser.CHLORINE, Sanitiser.BROMINE)),
    Line("heating", "Heating on with the cover closed; the owner knows when it will be warm."),
)


def lines_for(spa: Spa) -> tuple[Line, ...]:
    """The lines that concern this spa, in order."""
    return tuple(line for line in FRESH_FILL if not line.systems or spa.sanitiser in line.systems)


def next_line(spa: Spa, done: Mapping[str, object]) -> Line | None:
    """The first line that is neither done nor passed; None at the end."""
    return next((line for line in lines_for(spa) if line.key not in done), None)
