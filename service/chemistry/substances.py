"""What one mole of each substance brings, and what it leaves once its oxidiser is spent.

To add a substance: one row in SUBSTANCES with its balances per mole. The strong ions it brings must
balance its alkalinity (tests/chemistry/test_substances.py checks the charge of every row).

Molar masses, [g/mol], from IUPAC/CIAAW standard atomic weights; those of dichlor, trichlor and
cyanuric acid as handbooks give them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from .units import BROMINE_G_MOL, CHLORINE_G_MOL


@dataclass(frozen=True, slots=True)
class Substance:
    """A pure substance, as the contract names it.

    molar_mass_g_mol      With its water of crystallisation, [g/mol].
    alkalinity_eq         Alkalinity added per mole at once, [eq/mol].
    adds                  Moles of each of the water's totals per mole.
    anhydrous_mass_share  Mass without water of crystallisation per mass: what dissolved solids count.
    reduces_eq            Moles of active halogen or HSO5- that one mole takes up at once (sulfite).
    tags                  What kind it is: rules on mixing and order go by these.
    """

    id: str
    name: str
    molar_mass_g_mol: float
    alkalinity_eq: float
    adds: Mapping[str, float]
    anhydrous_mass_share: float = 1.0
    reduces_eq: float = 0.0
    tags: frozenset[str] = field(default_factory=frozenset)

    @property
    def free_chlorine_per_gram(self) -> float:
        """Free chlorine one gram brings, [g as Cl2 per g].

        >>> round(SUBSTANCES["dichlor_dihydrate"].free_chlorine_per_gram, 3)
        0.554
        """
        return self.adds.get("chlorine_i", 0.0) * CHLORINE_G_MOL / self.molar_mass_g_mol

    @property
    def bromine_per_gram(self) -> float:
        """Bromine one gram brings itself, [g as Br2 per g], before it oxidises any bromide.

        >>> round(SUBSTANCES["bcdmh"].bromine_per_gram, 3)
        0.662
        """
        return self.adds.get("bromine_i", 0.0) * BROMINE_G_MOL / self.molar_mass_g_mol

    @property
    def oxidant_mol(self) -> float:
        """Active halogen and HSO5- per mole, [mol/mol]."""
        return sum(self.adds.get(name, 0.0) for name in OXIDANTS)

    @property
    def spent_alkalinity_eq(self) -> float:
        """Alkalinity per mole once its oxidiser is used up, [eq/mol]: each oxidant leaves one acid.

        >>> SUBSTANCES["trichlor"].spent_alkalinity_eq
        -3.0
        """
        return self.alkalinity_eq - self.oxidant_mol


OXIDANTS = ("chlorine_i", "bromine_i", "hso5")


def _row(
    substance_id: str,
    name: str,
    molar_mass: float,
    alkalinity: float,
    adds: dict[str, float],
    tags: str,
    *,
    anhydrous: float | None = None,
    reduces: float = 0.0,
) -> Substance:
    share = 1.0 if anhydrous is None else anhydrous / molar_mass
    kinds = frozenset(tags.split())
    return Substance(
        substance_id, name, molar_mass, alkalinity, MappingProxyType(adds), share, reduces, kinds
    )


_ROWS: tuple[Substance, ...] = (
    _row("sodium_bicarbonate", "Sodium bicarbonate", 84.007, 1, {"dic": 1, "na": 1}, "base"),
    _row("sodium_carbonate", "Sodium carbonate", 105.988, 2, {"dic": 1, "na": 2}, "base carbonate"),
    _row("sodium_bisulfate", "Sodium bisulfate", 120.06, -1, {"na": 1, "so4": 1}, "acid sulfate"),
    _row("hydrochloric_acid", "Hydrochloric acid", 36.461, -1, {"cl": 1}, "acid"),
    _row(
        "calcium_chloride_anhydrous", "Calcium chloride, anhydrous", 110.98, 0, {"ca": 1, "cl": 2}, "calcium"
    ),
    _row(
        "calcium_chloride_dihydrate",
        "Calcium chloride dihydrate",
        147.01,
        0,
        {"ca": 1, "cl": 2},
        "calcium",
        anhydrous=110.98,
    ),
    # Na2B4O7.10H2O + 7 H2O = 2 Na+ + 4 H3BO3 + 2 OH- + 10 H2O
    _row(
        "borax_decahydrate",
        "Borax decahydrate",
        381.37,
        2,
        {"borate": 4, "na": 2},
        "base borate",
        anhydrous=201.22,
    ),
    _row("boric_acid", "Boric acid", 61.83, 0, {"borate": 1}, "borate"),
    _row(
        "sodium_hypochlorite",
        "Sodium hypochlorite",
        74.442,
        1,
        {"chlorine_i": 1, "na": 1},
        "hypochlorite chlorine halogen oxidiser",
    ),
    _row(
        "calcium_hypochlorite",
        "Calcium hypochlorite",
        142.98,
        2,
        {"chlorine_i": 2, "ca": 1},
        "hypochlorite chlorine halogen dry_halogen oxidiser calcium",
    ),
    _row(
        "lithium_hypochlorite",
        "Lithium hypochlorite",
        58.39,
        1,
        {"chlorine_i": 1, "li": 1},
        "hypochlorite chlorine halogen dry_halogen oxidiser",
    ),
    # NaCl2C3N3O3 + 2 H2O = Na+ + 2 HOCl + H2Cy- - H+ ...: cyanurate with two chlorines, one alkalinity
    _row(
        "dichlor_dihydrate",
        "Sodium dichloroisocyanurate dihydrate",
        255.98,
        1,
        {"cyanurate": 1, "chlorine_i": 2, "na": 1},
        "isocyanurate chlorine halogen dry_halogen oxidiser",
        anhydrous=219.95,
    ),
    _row(
        "dichlor_anhydrous",
        "Sodium dichloroisocyanurate, anhydrous",
        219.95,
        1,
        {"cyanurate": 1, "chlorine_i": 2, "na": 1},
        "isocyanurate chlorine halogen dry_halogen oxidiser",
    ),
    _row(
        "trichlor",
        "Trichloroisocyanuric acid",
        232.41,
        0,
        {"cyanurate": 1, "chlorine_i": 3},
        "isocyanurate chlorine halogen dry_halogen oxidiser",
    ),
    # Hydrolysis gives one HOBr and one HOCl: the bromine leaves first.
    _row(
        "bcdmh",
        "Bromochlorodimethylhydantoin",
        241.47,
        0,
        {"bromine_i": 1, "chlorine_i": 1, "dmh": 1},
        "bromine halogen dry_halogen oxidiser",
    ),
    _row("sodium_bromide", "Sodium bromide", 102.894, 0, {"br": 1, "na": 1}, "bromide"),
    # 2 KHSO5 . KHSO4 . K2SO4, the triple salt
    _row(
        "potassium_monopersulfate",
        "Potassium monopersulfate triple salt",
        614.74,
        -1,
        {"k": 5, "so4": 2, "hso5": 2},
        "monopersulfate oxidiser sulfate",
    ),
    _row(
        "sodium_thiosulfate_pentahydrate",
        "Sodium thiosulfate pentahydrate",
        248.18,
        0,
        {"na": 2, "thiosulfate": 1},
        "neutraliser",
        anhydrous=158.11,
    ),
    # What meets no oxidant is oxidised by dissolved oxygen: all of it ends as sulfate.
    _row("sodium_sulfite", "Sodium sulfite", 126.04, 0, {"na": 2, "so4": 1}, "neutraliser", reduces=1),
    _row("hydrogen_peroxide", "Hydrogen peroxide", 34.015, 0, {"peroxide": 1}, "peroxide neutraliser"),
    _row("cyanuric_acid", "Cyanuric acid", 129.07, 0, {"cyanurate": 1}, "stabiliser"),
)

SUBSTANCES: Mapping[str, Substance] = MappingProxyType({row.id: row for row in _ROWS})
