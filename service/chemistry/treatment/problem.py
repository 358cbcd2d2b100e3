"""What the linear programme works on, and what it answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from service.chemistry.steps import replace as replace_water
from service.chemistry.treatment.levels import Levels, dosed
from service.chemistry.treatment.products import Product
from service.chemistry.treatment.targets import AIM_PRICE, LIMIT_PRICE, Target
from service.chemistry.water import Water

WATER_PRICE: Final = 400.0


@dataclass(frozen=True)
class Problem:
    """What the programme works on.

    targets   One for each figure with a limit or an aim; "ph" and the levels.
    columns   What one g/m3 of each product does to the levels.
    most_g_m3 Upper bound of each product over the whole treatment.
    tilts     For each pH how its line rises with each product, see lines.
    bank      True where the bromide left must not fall below zero. bank_mg_l: what should be left of it.
    """

    water: Water
    fill: Water | None
    start: Levels
    fill_levels: Levels | None
    products: tuple[Product, ...]
    columns: tuple[Levels, ...]
    most_g_m3: tuple[float, ...]
    targets: dict[str, Target]
    bank: bool = False
    bank_mg_l: float = 0.0
    temperature_c: float = 38.0
    tilts: Mapping[float, tuple[float, ...]] = field(default_factory=dict)

    def after_replacing(self, fraction: float) -> Water:
        """The water once a fraction was replaced, back at its own temperature."""
        if self.fill is None or fraction == 0:
            return self.water
        return replace_water(self.water, fraction=fraction, fill=self.fill, temperature_c=self.temperature_c)

    def water_after(self, mix: Mix) -> Water:
        """The water once everything was replaced and dosed; salts of bromine before oxidisers."""
        water = self.after_replacing(mix.fraction)
        order = sorted(
            range(len(self.products)), key=lambda j: self.products[j].substance != "sodium_bromide"
        )
        for j in order:
            if mix.grams[j] > 0:
                water = dosed(water, self.products[j], mix.grams[j])
        return water


@dataclass(frozen=True)
class Mix:
    """An answer of the programme.

    grams       Grams of each product per m3. fraction: share of the water replaced, 0 to 1.
    limit_miss  Limits missed, summed, in widths of their ranges. aim_miss: likewise.
    """

    grams: tuple[float, ...]
    fraction: float = 0.0
    limit_miss: float = 0.0
    aim_miss: float = 0.0

    @property
    def mass(self) -> float:
        """Grams of product per m3, all together."""
        return sum(self.grams)

    @property
    def cost(self) -> float:
        """What the programme makes least."""
        return (
            LIMIT_PRICE * self.limit_miss
            + AIM_PRICE * self.aim_miss
            + self.mass
            + WATER_PRICE * self.fraction
        )
