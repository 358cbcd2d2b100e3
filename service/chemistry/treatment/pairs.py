"""Which products must never meet, as data: in one plan, in one scoop, in one feeder, in one van box.

A rule names two groups of substances. `scopes` says where the two must not stand together;
`minutes_between` is the circulation time that must pass between the two in the water when a plan may
hold both. Groups are sets of substance ids, so that the tests can walk every pair.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from service.chemistry.substances import SUBSTANCES

COMMON_PRACTICE: Final = "common practice, no source"

HYPOCHLORITES: Final = frozenset({"sodium_hypochlorite", "calcium_hypochlorite", "lithium_hypochlorite"})
ISOCYANURATES: Final = frozenset({"dichlor_dihydrate", "dichlor_anhydrous", "trichlor"})
CHLORINES: Final = HYPOCHLORITES | ISOCYANURATES
DRY_CHLORINES: Final = CHLORINES - {"sodium_hypochlorite"}
BROMINES: Final = frozenset({"bcdmh", "sodium_bromide"})
DRY_HALOGENS: Final = DRY_CHLORINES | {"bcdmh"}
HALOGENS: Final = CHLORINES | BROMINES
ACIDS: Final = frozenset({"hydrochloric_acid", "sodium_bisulfate"})
BASES: Final = frozenset({"sodium_carbonate", "borax_decahydrate"})
CALCIUM_CHLORIDES: Final = frozenset({"calcium_chloride_anhydrous", "calcium_chloride_dihydrate"})
NEUTRALISERS: Final = frozenset({"sodium_thiosulfate_pentahydrate", "sodium_sulfite", "hydrogen_peroxide"})
MONOPERSULFATES: Final = frozenset({"potassium_monopersulfate"})
OXIDISERS: Final = CHLORINES | MONOPERSULFATES | {"bcdmh"}
LIQUIDS: Final = frozenset({"sodium_hypochlorite", "hydrochloric_acid", "hydrogen_peroxide"})
DRY: Final = frozenset(SUBSTANCES) - LIQUIDS

EVERYWHERE: Final = frozenset({"plan", "scoop", "feeder", "van"})
IN_CONTACT: Final = frozenset({"scoop", "feeder", "van"})


@dataclass(frozen=True)
class PairRule:
    """Two groups that must be kept apart, where, for how long, why, and who says so."""

    id: str
    first: frozenset[str]
    second: frozenset[str]
    scopes: frozenset[str]
    minutes_between: int
    why: str
    source: str

    def covers(self, one: str, other: str) -> bool:
        """True when the rule speaks of these two substances, in either order."""
        if one == other:
            return False
        return (one in self.first and other in self.second) or (other in self.first and one in self.second)


PAIR_RULES: Final[tuple[PairRule, ...]] = (
    PairRule(
        "hypochlorite_isocyanurate", HYPOCHLORITES, ISOCYANURATES, EVERYWHERE, 0,
        "hypochlorites and cyanurate-based chlorine can burn or explode when they meet",
        "Bland Shire Council, NSW: never store calcium hypochlorite with cyanurates",
    ),
    PairRule(
        "halogen_acid", HALOGENS, ACIDS, IN_CONTACT, 30,
        "acid and chlorine or bromine products give off poisonous gas when they meet",
        "New York State Department of Health (incident report); the 30 minutes: common practice, no source",
    ),
    PairRule(
        "monopersulfate_dry_halogen", MONOPERSULFATES, DRY_HALOGENS, EVERYWHERE, 0,
        "monopersulfate and dry chlorine or bromine products react when they meet", COMMON_PRACTICE,
    ),
    PairRule(
        "monopersulfate_liquid_chlorine", MONOPERSULFATES, frozenset({"sodium_hypochlorite"}), EVERYWHERE, 0,
        "monopersulfate is an acid salt and gives off chlorine with liquid hypochlorite", COMMON_PRACTICE,
    ),
    PairRule(
        "peroxide_hypochlorite", frozenset({"hydrogen_peroxide"}), CHLORINES | {"bcdmh"}, EVERYWHERE, 0,
        "peroxide and chlorine destroy each other with heat and gas", COMMON_PRACTICE,
    ),
    PairRule(
        "bcdmh_dry_oxidiser", frozenset({"bcdmh"}), DRY_CHLORINES | MONOPERSULFATES, EVERYWHERE, 0,
        "dry chlorine and dry bromine products never meet", COMMON_PRACTICE,
    ),
    PairRule(
        "bcdmh_dry", frozenset({"bcdmh"}), DRY - {"bcdmh"}, IN_CONTACT, 15,
        "bromine tablets or granules keep their own scoop and box", COMMON_PRACTICE,
    ),
    PairRule(
        "chlorine_bromine", CHLORINES, BROMINES, IN_CONTACT, 15,
        "chlorine and bromine products never share a scoop, a feeder or a hand", COMMON_PRACTICE,
    ),
    PairRule(
        "neutraliser_oxidiser", NEUTRALISERS, OXIDISERS, EVERYWHERE, 0,
        "a neutraliser and an oxidiser destroy each other", COMMON_PRACTICE,
    ),
    PairRule(
        "neutraliser_acid", NEUTRALISERS - {"hydrogen_peroxide"}, ACIDS, IN_CONTACT, 30,
        "sulfite and thiosulfate give off sulfur dioxide with acid", COMMON_PRACTICE,
    ),
    PairRule(
        "calcium_carbonate", CALCIUM_CHLORIDES, frozenset({"sodium_carbonate"}), IN_CONTACT, 120,
        "calcium and carbonate make scale and cloud when they meet in the water", COMMON_PRACTICE,
    ),
    PairRule(
        "acid_base", ACIDS, BASES, EVERYWHERE, 0,
        "acid and base undo each other and heat when they meet", COMMON_PRACTICE,
    ),
)  # fmt: skip


def rules_between(one: str, other: str, *, scope: str | None = None) -> tuple[PairRule, ...]:
    """The rules that keep two substances apart, all or those of one scope.

    scope   "plan", "scoop", "feeder" or "van"; None for every rule.

    >>> [rule.id for rule in rules_between("calcium_hypochlorite", "dichlor_dihydrate", scope="plan")]
    ['hypochlorite_isocyanurate']
    """
    return tuple(
        rule for rule in PAIR_RULES if rule.covers(one, other) and (scope is None or scope in rule.scopes)
    )


def first_conflict(substances: Iterable[str]) -> tuple[PairRule, str, str] | None:
    """The first two substances of a plan that must not stand in one plan, with the rule; else None.

    >>> first_conflict(["sodium_bicarbonate", "sodium_bisulfate"]) is None
    True
    """
    present = sorted(set(substances))
    for place, one in enumerate(present):
        for other in present[place + 1 :]:
            for rule in rules_between(one, other, scope="plan"):
                return rule, one, other
    return None
