"""States in which nothing is dosed yet: what to do instead, and why.

Order matters: a hold outranks everything, and a reading that cannot be believed is repeated before any
dose rests on it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final

from service.chemistry.readings import Reading
from service.chemistry.substances import SUBSTANCES
from service.chemistry.treatment.holds import HOLDS
from service.chemistry.treatment.request import Recent, Request
from service.chemistry.treatment.words import label, minutes
from service.chemistry.units import CHLORINE_G_MOL
from service.chemistry.waits import BEFORE_BATHING

PH_LOWEST: Final = 5.0
PH_HIGHEST: Final = 9.5
NEAR_ZERO_MG_L: Final = 0.5
FORECAST_HIGH_MG_L: Final = 5.0
SHOCK_MG_L: Final = 8.0
SHOCK_REMEMBERED: Final = timedelta(hours=24)
TABLETS_STILL_COMING: Final = timedelta(hours=24)
CHANGEOVER_CYANURATE_MG_L: Final = 10.0
CHANGEOVER_CHLORINE_MG_L: Final = 0.0
BROMIDE_BORNE_MG_L: Final = 1.0
PROFESSIONAL: Final = "keep the spa closed and call a licensed professional"


@dataclass(frozen=True)
class Stop:
    """Why nothing is dosed, and what is done instead.

    reason, remedy  In words. steps: in the contract's form, without order and round.
    replaces_all    The water is drained and refilled.
    """

    reason: str
    remedy: str
    parameter: str
    steps: tuple[Mapping[str, Any], ...] = ()
    cautions: tuple[str, ...] = ()
    retest: tuple[str, ...] = ()
    replaces_all: bool = False


def find_stop(request: Request, readings: Mapping[str, Reading]) -> Stop | None:
    """The first state that keeps every dose back, or None."""
    for look in _LOOKS:
        found = look(request, readings)
        if found is not None:
            return found
    return None


def _hold(request: Request, _: Mapping[str, Reading]) -> Stop | None:
    if not request.holds:
        return None
    held = [HOLDS[name] for name in request.holds]
    return Stop(
        " ".join(hold.reason for hold in held).rstrip("."),
        " ".join(f"{hold.response} Call {hold.call} ({hold.source})." for hold in held).rstrip("."),
        held[0].id,
        cautions=tuple(
            f"{hold.reason} {hold.response} Call {hold.call}. Source: {hold.source}." for hold in held
        ),
    )


def _other_system(request: Request, _: Mapping[str, Reading]) -> Stop | None:
    if request.sanitiser != "other":
        return None
    return Stop(
        "This spa's sanitiser is neither chlorine nor bromine: readings are recorded, nothing is dosed",
        "follow the maker's instructions for that system",
        "sanitiser",
    )


def _broken(request: Request, _: Mapping[str, Reading]) -> Stop | None:
    words = {
        "suction_cover": "a suction or drain cover is broken, loose or missing",
        "electrics": "the electrics are not in order",
        "clarity": "the bottom cannot be seen",
    }
    found = [text for name, text in words.items() if request.inspection.get(name) is False]
    if not found:
        return None
    reason = "; ".join(found)
    return Stop(
        f"Nothing is dosed while {reason}", PROFESSIONAL, "inspection", cautions=(f"Stop: {reason}.",)
    )


def _extreme_ph(_: Request, readings: Mapping[str, Reading]) -> Stop | None:
    ph = readings["ph"].value
    if PH_LOWEST <= ph <= PH_HIGHEST:
        return None
    return Stop(
        f"pH {ph:g} is outside {PH_LOWEST:g} to {PH_HIGHEST:g}: no dose is planned on it",
        f"repeat it by another method; if it stays so, {PROFESSIONAL}",
        "ph",
        steps=(_retest(("ph",), "repeat pH by another method"),),
        retest=("ph",),
    )


def _drain(request: Request, _: Mapping[str, Reading]) -> Stop | None:
    if not request.drain_planned:
        return None
    return Stop(
        "The water is about to be drained: it is recorded, never dosed",
        "drain, refill, then test the new water and ask again",
        "water",
        cautions=FRESH_FILL,
        replaces_all=True,
    )


FRESH_FILL: Final = (
    "Breaker off before the level falls.",
    "Neutralise the old water and discharge it where the law allows.",
    "Purge the lines, clean the shell, fill through a flushed hose, read metals and supply water.",
    "Then total alkalinity and pH, hardness, the bromide bank if on bromine, sanitiser; heat covered.",
)


def _changeover(request: Request, readings: Mapping[str, Reading]) -> Stop | None:
    before = request.changeover_from
    if before is None or before == request.sanitiser or request.fresh_fill:
        return None
    if before == "bromine":
        return Stop(
            "Bromide left from bromine turns every chlorine dose into bromine",
            "drain, purge the lines and refill; then test the new water and ask again",
            "bromide_mg_l",
            cautions=FRESH_FILL,
            replaces_all=True,
        )
    chlorine, cyanurate = readings.get("free_chlorine_mg_l"), readings.get("cyanuric_acid_mg_l")
    low_cyanurate = cyanurate is not None and cyanurate.value <= CHANGEOVER_CYANURATE_MG_L
    if low_cyanurate and chlorine is not None and chlorine.value <= CHANGEOVER_CHLORINE_MG_L:
        return None
    if low_cyanurate:
        return Stop(
            "Bromine is not started while chlorine reads (common practice, no source)",
            "drain and refill; or keep it closed for several days until no chlorine reads, then ask again",
            "free_chlorine_mg_l",
            steps=(
                {
                    "action": "wait",
                    "minutes": 1440,
                    "purpose": "closed all that time, until no chlorine reads; draining is the first choice",
                },
                _retest(("free_chlorine_mg_l", "cyanuric_acid_mg_l", "ph"), "see that no chlorine reads"),
            ),
            cautions=("Closed throughout: the water is hot and without sanitiser.",),
            retest=("free_chlorine_mg_l", "cyanuric_acid_mg_l", "ph"),
        )
    return Stop(
        "Cyanuric acid is above 10 or was not read, and waiting does not lower it",
        "drain and refill; then test the new water and ask again",
        "cyanuric_acid_mg_l",
        cautions=FRESH_FILL,
        replaces_all=True,
    )


def _bromide_in_chlorine(request: Request, readings: Mapping[str, Reading]) -> Stop | None:
    bromide = readings.get("bromide_mg_l")
    if request.sanitiser != "chlorine" or bromide is None or bromide.value <= BROMIDE_BORNE_MG_L:
        return None
    return Stop(
        f"Bromide {bromide.value:g} mg/L turns every chlorine dose into bromine",
        "drain, purge the lines and refill; then test the new water and ask again",
        "bromide_mg_l",
        cautions=FRESH_FILL,
        replaces_all=True,
    )


def _only_a_bound(request: Request, readings: Mapping[str, Reading]) -> Stop | None:
    reading = readings.get(request.halogen)
    if reading is None or reading.bound != ">":
        return None
    return Stop(
        f"{label(request.halogen)} is only known to be above {reading.value:g}",
        "dilute the sample, repeat the test and enter the dilution factor",
        request.halogen,
        steps=(_retest((request.halogen, "ph"), "dilute the sample and repeat before any dose"),),
        retest=(request.halogen, "ph"),
    )


def _false_zero(request: Request, readings: Mapping[str, Reading]) -> Stop | None:
    """A very high halogen bleaches the test to nothing, so 0.0 may be 40 (common practice, no source)."""
    reading = readings.get(request.halogen)
    if reading is None or reading.value > NEAR_ZERO_MG_L or reading.dilution_factor > 1:
        return None
    doubts = _doubts(request, readings)
    if not doubts:
        return None
    return Stop(
        f"{label(request.halogen)} reads {reading.value:g} although {doubts}: a high level bleaches the test",
        "dilute the sample with tap or distilled water, repeat the test, and enter the dilution factor",
        request.halogen,
        steps=(
            _retest(
                (request.halogen, "ph"),
                "dilute the sample, for example 1 part in 10, and repeat before any dose",
            ),
        ),
        cautions=("0.0 may be 40: nothing is dosed until the diluted sample has been read.",),
        retest=(request.halogen, "ph"),
    )


def _doubts(request: Request, readings: Mapping[str, Reading]) -> str:
    forecast = request.number("forecast_sanitiser_mg_l")
    told = (
        ("strong_smell" in request.signs, "there is a strong smell"),
        ("full_feeder" in request.signs, "the feeder is full"),
        ("after_shock" in request.signs or _shocked(request, readings), "a large dose went in lately"),
        (forecast is not None and forecast > FORECAST_HIGH_MG_L, "the forecast is above 5 mg/L"),
    )
    return " and ".join(words for holds, words in told if holds)


def _shocked(request: Request, readings: Mapping[str, Reading]) -> bool:
    dosed = sum(
        dose.mass_g * _chlorine_share(dose.substance)
        for dose in request.recent
        if not dose.in_feeder and _since(request, readings, dose, SHOCK_REMEMBERED)
    )
    return dosed * 1000 / request.volume_l >= SHOCK_MG_L


def _chlorine_share(substance: str) -> float:
    """Halogen a gram brings, as chlorine."""
    found = SUBSTANCES[substance]
    moles = found.adds.get("chlorine_i", 0.0) + found.adds.get("bromine_i", 0.0)
    return moles * CHLORINE_G_MOL / found.molar_mass_g_mol


def _since(request: Request, readings: Mapping[str, Reading], dose: Recent, span: timedelta) -> bool:
    """Whether a dose is younger than a span; True where the times do not tell."""
    times = [reading.at for reading in readings.values() if reading.at is not None]
    now = request.at or max(times, default=None)
    return dose.at is None or now is None or now - dose.at < span


def _settling(request: Request, readings: Mapping[str, Reading]) -> Stop | None:
    """Readings taken before the last dose had mixed: test again before dosing on them."""
    times = [reading.at for reading in readings.values() if reading.at is not None]
    now = request.at or max(times, default=None)
    if now is None:
        return None
    left = 0.0
    for dose in request.recent:
        if dose.at is None or dose.in_feeder or dose.mass_g == 0:
            continue
        gone = (now - dose.at).total_seconds() / 60
        if gone >= 0:
            left = max(left, BEFORE_BATHING[dose.substance].minutes - gone)
    if left <= 0:
        return None
    names = tuple(readings)
    return Stop(
        "The last dose has not mixed yet, so these readings do not show what it did",
        f"wait {minutes(left)}, pumps on, then test again",
        "water",
        steps=(
            {"action": "wait", "minutes": round(left + 0.5), "purpose": "let the last dose mix, pumps on"},
            _retest(names, "test again once the last dose has mixed"),
        ),
        retest=names,
    )


def tablets_coming(request: Request, readings: Mapping[str, Reading]) -> bool:
    """Slow tablets were loaded so lately that the reading understates what is coming."""
    return any(
        dose.in_feeder and dose.mass_g > 0 and _since(request, readings, dose, TABLETS_STILL_COMING)
        for dose in request.recent
    )


def _retest(parameters: tuple[str, ...], purpose: str) -> Mapping[str, Any]:
    return {"action": "retest", "parameters": list(parameters), "minutes": 10, "purpose": purpose}


_LOOKS: Final[tuple[Callable[[Request, Mapping[str, Reading]], Stop | None], ...]] = (
    _hold,
    _other_system,
    _broken,
    _extreme_ph,
    _drain,
    _changeover,
    _bromide_in_chlorine,
    _only_a_bound,
    _false_zero,
    _settling,
)
