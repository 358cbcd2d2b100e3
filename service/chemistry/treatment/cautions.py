"""The usual cautions, as data: general ones, one set for each kind of product, and for each shell.

Paraphrased from public-health leaflets; the product's own label and the local code come first.
Sources: Maryland Department of Health and New York State Department of Health, pool-chemical safety
leaflets (protection, never mixing, chemical into water); Bland Shire Council, NSW (cyanurates and
hypochlorites apart); the rest common practice, no source.
"""

from __future__ import annotations

from typing import Final

from service.chemistry.treatment import pairs

LABEL_FIRST: Final = (
    "The product label and local code come first; these figures assume the stated volume and strength."
)
EVERY_DOSE: Final = (
    "Nobody in the water. Pumps on. Product into water, never water onto product. One product at a time.",
)
TEST_BEFORE_ENTRY: Final = "Test before anyone enters."

_ACID: Final = (
    "Acid: gloves and eye protection. Never with or near chlorine or bromine products, nor near a feeder."
)
_CHLORINE: Final = (
    "Chlorine product: gloves and eye protection, its own dry scoop, cover off, room aired. Never with acid."
)
_HYPOCHLORITE: Final = "Never with or after dichlor or trichlor in the same scoop, feeder or box."
_ISOCYANURATE: Final = (
    "Never with hypochlorite in the same scoop, feeder or box. Each dose leaves cyanuric acid."
)
_BROMINE: Final = "Bromine product: its own scoop and box, away from every other dry product."

BY_SUBSTANCE: Final[dict[str, tuple[str, ...]]] = {
    "sodium_carbonate": (
        "Irritates eyes and skin: gloves. Sprinkle slowly; the water may cloud for a while.",
    ),
    "sodium_bisulfate": (_ACID,),
    "hydrochloric_acid": (_ACID, "Pour slowly, low over the water, downwind; the fumes burn."),
    "calcium_chloride_anhydrous": (
        "Gets hot in water: sprinkle slowly over the surface, never in a closed jar.",
    ),
    "calcium_chloride_dihydrate": ("Gets warm in water: sprinkle slowly over the surface.",),
    "borax_decahydrate": ("Keep from children and pets: harmful if swallowed.",),
    "boric_acid": ("Keep from children and pets: harmful if swallowed.",),
    "sodium_hypochlorite": (_CHLORINE, _HYPOCHLORITE, "Corrodes and bleaches: protect eyes and clothes."),
    "calcium_hypochlorite": (
        _CHLORINE,
        _HYPOCHLORITE,
        "Feeds fire: keep dry and away from anything that burns.",
    ),
    "lithium_hypochlorite": (_CHLORINE, _HYPOCHLORITE, "Feeds fire: keep dry."),
    "dichlor_dihydrate": (_CHLORINE, _ISOCYANURATE),
    "dichlor_anhydrous": (_CHLORINE, _ISOCYANURATE),
    "trichlor": (_CHLORINE, _ISOCYANURATE, "Very acid: never loose in the tub or in a skimmer."),
    "bcdmh": (
        _BROMINE,
        "Gloves: burns skin and eyes. Feeder or floater out of the water while people bathe.",
    ),
    "sodium_bromide": (_BROMINE,),
    "potassium_monopersulfate": (
        "Gloves and eye protection. Never with chlorine or bromine products. Reads as combined chlorine.",
        "The water may look slightly dull afterwards although its readings are fine.",
    ),
    "sodium_thiosulfate_pentahydrate": (
        "Add the stated amount only, then retest: more leaves no sanitiser.",
    ),
    "sodium_sulfite": (
        "Add the stated amount only, then retest: more leaves no sanitiser. Never near acid.",
    ),
    "hydrogen_peroxide": (
        "Gloves and eye protection. Never near chlorine products: add little, then retest.",
    ),
    "cyanuric_acid": ("Readings are true only after days.",),
}
BY_SHELL: Final[dict[str, tuple[str, ...]]] = {
    "acrylic": (),
    "wood": (
        "Wood holds chlorine and bromide and bleaches: the lower half of the range, readings may rise again.",
    ),
    "vinyl": ("Vinyl: granules never rest on the liner; keep them moving until dissolved.",),
    "stainless_steel": ("Stainless steel: keep to the maker's limits for chloride and pH; rinse splashes.",),
}
BREAKPOINT: Final = (
    "Breakpoint dose: bathers out, cover off, room aired, until free chlorine is back inside the limits."
)
PROVISIONAL: Final = "Enter the retest first; the dose is worked out again from it."
WEIGH_FINELY: Final = "Small dose: weigh on a scale that shows 0.1 g, or measure with a syringe."
POUR_HALF: Final = (
    "The volume is a guess: half the dose first, then the retest shows what the tub really holds."
)


def for_dose(substance: str, *, shell: str) -> list[str]:
    """Cautions for one dose of a substance into a shell, the general ones first.

    >>> for_dose("sodium_bicarbonate", shell="acrylic")
    ['Nobody in the water. Pumps on. Product into water, never water onto product. One product at a time.']
    """
    shell_words = BY_SHELL[shell] if substance in pairs.HALOGENS | pairs.ACIDS else ()
    return [*EVERY_DOSE, *BY_SUBSTANCE.get(substance, ()), *shell_words]
