"""What a water holds, whatever its pH: the amounts that additions change and reactions conserve."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Self


@dataclass(frozen=True, slots=True)
class Totals:
    """Amounts dissolved in a litre, [mol/L]; alkalinity in [eq/L].

    alkalinity   Zero levels CO2, H3BO3, cyanuric acid and its neutral chlorinated forms, HOCl, HOBr,
                 dimethylhydantoin, HSO5- and SO4-2.
    dic          Dissolved inorganic carbon: CO2, bicarbonate, carbonate and their ion pairs.
    borate       Boron. cyanurate: all cyanuric rings. dmh: 5,5-dimethylhydantoin.
    chlorine_i   Chlorine in the +1 state, cyanurate-bound included: what DPD reads as free chlorine.
    bromine_i    Bromine in the +1 state. br: bromide. hso5: monopersulfate ion.

    At fixed totals alkalinity rises strictly with pH.
    """

    alkalinity: float = 0.0
    dic: float = 0.0
    ca: float = 0.0
    mg: float = 0.0
    na: float = 0.0
    k: float = 0.0
    cl: float = 0.0
    so4: float = 0.0
    br: float = 0.0
    li: float = 0.0
    borate: float = 0.0
    cyanurate: float = 0.0
    chlorine_i: float = 0.0
    bromine_i: float = 0.0
    dmh: float = 0.0
    hso5: float = 0.0
    thiosulfate: float = 0.0
    peroxide: float = 0.0

    def plus(self, changes: Mapping[str, float]) -> Self:
        """These totals with some amounts changed, [mol/L]; rounding below zero ends at zero.

        Alkalinity alone may be negative: strong acid.

        >>> changed = Totals(na=0.002).plus({"na": 0.001, "cl": -0.001, "alkalinity": -0.001})
        >>> changed.na, changed.cl, changed.alkalinity
        (0.003, 0.0, -0.001)
        """
        values = {name: getattr(self, name) for name in TOTALS}
        for name, change in changes.items():
            value = values[name] + change
            values[name] = value if value > 0 or name == "alkalinity" else 0.0
        return type(self)(**values)

    def mixed_with(self, other: Totals, fraction: float) -> Self:
        """These totals after a fraction, 0 to 1, is replaced by another water.

        >>> Totals(na=0.002).mixed_with(Totals(na=0.004), 0.25).na
        0.0025
        """
        return type(self)(*((1 - fraction) * getattr(self, n) + fraction * getattr(other, n) for n in TOTALS))

    @property
    def strong_ion_difference(self) -> float:
        """Charge of the ions that take no part in acid-base reactions, [eq/L]; equals alkalinity.

        >>> Totals(na=0.002, cl=0.0005).strong_ion_difference
        0.0015
        """
        positive = self.na + self.k + self.li + 2 * (self.ca + self.mg)
        return positive - self.cl - self.br - self.hso5 - 2 * (self.so4 + self.thiosulfate)


TOTALS: tuple[str, ...] = tuple(field.name for field in fields(Totals))


@dataclass(frozen=True, slots=True)
class Water:
    """A water: its totals, its temperature and the bookkeeping of dissolved solids.

    temperature_c                Temperature, [°C], 0 to 45.
    total_dissolved_solids_mg_l  Reading plus what was added, without water of crystallisation, [mg/L].
    not_known                    Readings that nobody took: their stand-ins serve the ionic strength
                                 only, and are never reported.
    """

    totals: Totals
    temperature_c: float
    total_dissolved_solids_mg_l: float
    not_known: frozenset[str] = frozenset()
