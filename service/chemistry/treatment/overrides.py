"""Own judgement: doses a technician would rather give, checked against the rules that stand above it.

An amount may be changed and a step skipped; what is expected is then worked out again. Own judgement may
not change the verdict, bring incompatible products together, exceed a cap, use a forbidden product, dose
what was not measured, or dose at all while the water is held.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.chemistry.errors import FieldError, InputError
from service.chemistry.steps import add
from service.chemistry.treatment import pairs
from service.chemistry.treatment.answer import known
from service.chemistry.treatment.at_hand import refusal
from service.chemistry.treatment.caps import HOUSE_RULE, MOST_PH
from service.chemistry.treatment.levels import PLACE, levels_of
from service.chemistry.treatment.products import Product, is_number
from service.chemistry.treatment.request import Request, parse_request
from service.chemistry.treatment.rounds import LARGEST_CHANGES, group_of
from service.chemistry.treatment.scene import Scene, build_scene, own_halogen
from service.chemistry.treatment.stops import find_stop
from service.chemistry.treatment.treat import treat
from service.chemistry.treatment.words import amount, label
from service.chemistry.units import BROMINE_G_MOL, CHLORINE_G_MOL
from service.chemistry.waits import between_products
from service.chemistry.water import Water, describe, solve


@dataclass(frozen=True)
class OwnDose:
    """A proposed dose: product, grams, and minutes since the one before (None: as the plan waits)."""

    product: Product
    mass_g: float
    minutes_since: float | None


@dataclass(frozen=True)
class Refusal:
    """Why a proposed dose may not be given; `place` counts the doses from 0."""

    place: int
    product_id: str
    reason: str
    source: str

    def as_dict(self) -> dict[str, Any]:
        """The refusal, ready for JSON."""
        return {
            "dose": self.place,
            "product_id": self.product_id,
            "reason": self.reason,
            "source": self.source,
        }


def check_override(request: Mapping[str, Any], *, order: int, mass_g: float | None) -> dict[str, Any]:
    """One step of the plan with another amount, or skipped.

    order   The order of an "add" step of `treat(request)`. mass_g: grams of product, [g], None to skip.

    Returns what `review_doses` returns. Raises InputError where no such step is planned.

    >>> request = {"volume_l": 1250, "sanitiser": "chlorine", "guideline": "dc_25c",
    ...            "readings": {"temperature_c": 38, "ph": 7.5, "total_alkalinity_mg_l": 100,
    ...                         "calcium_hardness_mg_l": 200, "free_chlorine_mg_l": 1},
    ...            "products": [{"id": "c", "substance": "calcium_hypochlorite", "active_fraction": 0.65}]}
    >>> answer = check_override(request, order=1, mass_g=100)
    >>> len(answer["refusals"]), answer["verdict"]
    (1, 'closed_until_retest')
    """
    plan = [step for step in treat(request)["treatment"] if step["action"] == "add"]
    if order not in {step["order"] for step in plan}:
        raise InputError([FieldError("order", f"Step {order} is no dose of this plan")])
    doses = [
        {
            "product_id": step["product_id"],
            "mass_g": mass_g if step["order"] == order else step["mass_g"],
        }
        for step in plan
        if step["order"] != order or mass_g is not None
    ]
    return review_doses(request, doses)


def review_doses(request: Mapping[str, Any], doses: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Checks doses somebody proposes, and works out what water they would make.

    request  As for `treat`.
    doses    In the order they would be given: product_id, mass_g, [g], and optionally minutes_since the
             dose before.

    Returns {"refusals": [{"dose", "product_id", "reason", "source"}], "expected": W or None,
    "fit_for_use", "verdict"}; the last two are those of `treat` and cannot be argued with. `expected` is
    None while anything is refused. Raises InputError for faults of the request or of the doses.

    >>> request = {"volume_l": 1250, "sanitiser": "bromine", "guideline": "dc_25c",
    ...            "readings": {"temperature_c": 38, "ph": 7.5, "total_alkalinity_mg_l": 100,
    ...                         "calcium_hardness_mg_l": 200, "total_bromine_mg_l": 3, "bromide_mg_l": 30},
    ...            "products": [{"id": "d", "substance": "dichlor_dihydrate", "active_fraction": 0.99}]}
    >>> print(review_doses(request, [{"product_id": "d", "mass_g": 57}])["refusals"][0]["reason"][:61])
    57 g is above the largest single dose for this volume, 22.8 g
    """
    asked = parse_request(request)
    proposed = _parse(asked, doses)
    plan = treat(request)
    readings, _ = own_halogen(asked)
    stop = find_stop(asked, readings)
    fixed = {"fit_for_use": plan["fit_for_use"], "verdict": plan["verdict"]}
    if stop is not None:
        refused = [
            Refusal(place, dose.product.id, stop.reason, stop.remedy) for place, dose in enumerate(proposed)
        ]
        return {"refusals": [refusal.as_dict() for refusal in refused], "expected": plan["expected"], **fixed}
    scene = build_scene(asked, readings, ())
    refused, water = _review(scene, proposed)
    expected = None if refused else known(scene, describe(water))
    return {"refusals": [found.as_dict() for found in refused], "expected": expected, **fixed}


def _parse(request: Request, doses: Sequence[Mapping[str, Any]]) -> list[OwnDose]:
    products = {product.id: product for product in request.products}
    faults: list[FieldError] = []
    found: list[OwnDose] = []
    for place, dose in enumerate(doses):
        product = products.get(str(dose.get("product_id")))
        mass, since = dose.get("mass_g"), dose.get("minutes_since")
        if product is None:
            faults.append(FieldError(f"doses.{place}.product_id", "This product is not in the request"))
        if not (is_number(mass) and 0 < mass <= 100_000):
            faults.append(FieldError(f"doses.{place}.mass_g", "Mass must be above 0 and at most 100000 g"))
        if since is not None and not (is_number(since) and since >= 0):
            faults.append(FieldError(f"doses.{place}.minutes_since", "Minutes must be 0 or more"))
        if product is not None and is_number(mass):
            found.append(OwnDose(product, float(mass), since))
    if faults:
        raise InputError(faults)
    return found


def _review(scene: Scene, doses: Sequence[OwnDose]) -> tuple[list[Refusal], Water]:
    water, refused = scene.water, []
    for place, dose in enumerate(doses):
        after = add(
            water,
            substance=dose.product.substance,
            mass_g=dose.mass_g,
            volume_l=scene.request.volume_l,
            active_fraction=dose.product.active_fraction,
        )
        reasons = [
            *_not_allowed(scene, dose),
            *_too_much(scene, dose, water, after),
            *_out_of_place(doses[:place], dose),
        ]
        refused += [Refusal(place, dose.product.id, reason, source) for reason, source in reasons]
        if not reasons:
            water = after
    return refused, water


def _not_allowed(scene: Scene, dose: OwnDose) -> list[tuple[str, str]]:
    reason = refusal(scene, dose.product)
    substance = dose.product.substance
    if reason:
        return [(reason[0].upper() + reason[1:], "rule of the plan")]
    if not scene.ph_trusted and substance in pairs.ACIDS | pairs.BASES:
        return [("So much sanitiser shifts the pH indicator: no pH dose before a retest", HOUSE_RULE)]
    if substance in pairs.NEUTRALISERS and not scene.halogen_high:
        return [("A neutraliser is used only when the sanitiser reads above its limit", HOUSE_RULE)]
    if substance in pairs.OXIDISERS and scene.halogen_high:
        return [("The sanitiser reads above its limit already", HOUSE_RULE)]
    return []


def _too_much(scene: Scene, dose: OwnDose, before: Water, after: Water) -> list[tuple[str, str]]:
    cap = dose.product.cap
    most = cap.g_per_m3 * scene.request.volume_l / 1000
    if dose.mass_g > most * (1 + 1e-9):
        brings = _brings(scene, dose)
        text = f"{dose.mass_g:g} g is above the largest single dose for this volume, {most:.3g} g{brings}"
        return [(text, cap.source)]
    old, new = levels_of(before), levels_of(after)
    for name, limit in LARGEST_CHANGES:
        change = abs(new[PLACE[name]] - old[PLACE[name]])
        if change > limit * (1 + 1e-9):
            return [
                (
                    f"It moves {label(name).lower()} by {amount(name, change)}, more than the "
                    f"{amount(name, limit)} one dose may",
                    HOUSE_RULE,
                )
            ]
    if "ph" in scene.targets:
        moved = abs(solve(after).ph - solve(before).ph)
        if moved > MOST_PH:
            return [(f"It moves pH by {moved:.2f}, more than the {MOST_PH:g} one dose may", HOUSE_RULE)]
    return []


def _brings(scene: Scene, dose: OwnDose) -> str:
    """How much chlorine or bromine a refused dose would have brought."""
    if dose.product.substance not in pairs.OXIDISERS:
        return ""
    bare = Water(scene.water.totals, scene.water.temperature_c, 0.0)
    after = add(
        bare,
        substance=dose.product.substance,
        mass_g=dose.mass_g,
        volume_l=scene.request.volume_l,
        active_fraction=dose.product.active_fraction,
    )
    moles = sum(
        getattr(after.totals, name) - getattr(bare.totals, name)
        for name in ("chlorine_i", "bromine_i", "hso5")
    )
    chlorine, bromine = moles * CHLORINE_G_MOL * 1000, moles * BROMINE_G_MOL * 1000
    return f": it brings {chlorine:.0f} mg/L counted as chlorine, {bromine:.0f} mg/L counted as bromine"


def _out_of_place(earlier: Sequence[OwnDose], dose: OwnDose) -> list[tuple[str, str]]:
    """Incompatible with an earlier dose, too soon after it, or before its turn."""
    reasons = []
    for past in earlier:
        one, other = past.product.substance, dose.product.substance
        reasons += [
            (f"It must not go into one plan with {past.product.called}: {rule.why}", rule.source)
            for rule in pairs.rules_between(one, other, scope="plan")
        ]
        if group_of(other) < group_of(one):
            text = f"It comes before {past.product.called} in the order of work"
            reasons.append((text, pairs.COMMON_PRACTICE))
    reasons += _too_soon(earlier, dose)
    return reasons


def _too_soon(earlier: Sequence[OwnDose], dose: OwnDose) -> list[tuple[str, str]]:
    if dose.minutes_since is None:
        return []
    gone = dose.minutes_since
    for past in reversed(earlier):
        wait = between_products(past.product.substance, dose.product.substance)
        if gone < wait.minutes:
            return [
                (f"{wait.minutes} minutes must pass after {past.product.called}, {gone:g} have", wait.source)
            ]
        if past.minutes_since is None:
            return []
        gone += past.minutes_since
    return []
