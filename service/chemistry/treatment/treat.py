"""`treat`: from readings and products to a verdict and a safe order of work.

python -m service.chemistry treat < request.json
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, Final

from service.chemistry.errors import InputError
from service.chemistry.guidelines import judge
from service.chemistry.treatment.answer import planned, stopped
from service.chemistry.treatment.plan import ALL_RULES, Rules
from service.chemistry.treatment.prescription import prescribe
from service.chemistry.treatment.request import Request, parse_request
from service.chemistry.treatment.scene import Scene, build_scene, own_halogen, product_family
from service.chemistry.treatment.stops import find_stop
from service.chemistry.water import describe

PACKAGE: Final = Path(__file__).parent.parent


@cache
def engine_version() -> str:
    """Twelve hex digits of the package's sources and guideline data: the same files, the same answers.

    >>> len(engine_version())
    12
    """
    digest = hashlib.sha256()
    for path in sorted([*PACKAGE.rglob("*.py"), *PACKAGE.rglob("*.json")]):
        digest.update(path.relative_to(PACKAGE).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def treat(request: Mapping[str, Any], *, rules: Rules = ALL_RULES) -> dict[str, Any]:
    """The treatment of a water, in the contract's form.

    request  volume_l, sanitiser, readings, guideline, products and the optional fields of the contract;
             also units ("metric" or "us"), at, signs, inspection, fresh_fill, drain_planned,
             changeover_from, interference_remover, heater_kw, fill_l_per_minute, breakpoint_attempts,
             forecast_sanitiser_mg_l, forecast_minutes_until_inside, minutes_until_use.
    rules    All of the planner's rules; tests take one away to prove that it is needed.

    Raises InputError with every fault of the request: field, limit and unit in words.

    >>> answer = treat({
    ...     "volume_l": 1250, "sanitiser": "chlorine", "guideline": "dc_25c",
    ...     "readings": {"temperature_c": 38, "ph": 7.9, "total_alkalinity_mg_l": 100,
    ...                  "calcium_hardness_mg_l": 150, "free_chlorine_mg_l": 4},
    ...     "products": [{"id": "acid", "substance": "sodium_bisulfate", "active_fraction": 0.95}]})
    >>> answer["fit_for_use"], answer["verdict"]
    (False, 'closed_until_retest')
    >>> [(step["action"], step.get("mass_g")) for step in answer["treatment"]]
    [('add', 11.0), ('retest', None)]
    """
    asked = parse_request(request)
    readings, notes = own_halogen(asked)
    stop = find_stop(asked, readings)
    findings = tuple(
        judge(
            readings,
            guideline=asked.guideline,
            sanitiser=asked.sanitiser,
            setting=asked.setting,
            fill=asked.fill,
            inspection=asked.inspection,
            product_family=product_family(asked),
            portable=asked.portable,
        )
    )
    if stop is not None:
        scene = _scene_if_any(asked, readings, findings)
        expected = None if scene is None else describe(scene.water)
        return stopped(asked, findings, stop, expected, scene, engine_version())
    scene = replace(build_scene(asked, readings, findings), notes=tuple(notes))
    return planned(scene, prescribe(scene, rules=rules), engine_version(), rules=rules)


def _scene_if_any(request: Request, readings: Mapping[str, Any], findings: tuple[Any, ...]) -> Scene | None:
    """The scene behind a stop, None where the readings make no water."""
    if request.sanitiser == "other":
        return None
    try:
        return build_scene(request, readings, findings)
    except InputError:
        return None


def __getattr__(name: str) -> Any:
    if name == "ENGINE_VERSION":
        return engine_version()
    raise AttributeError(name)
