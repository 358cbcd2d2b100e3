"""The command line: `python -m service.chemistry predict|treat|guidelines`."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from typing import Any, BinaryIO

from .errors import InputError, refuse

LARGEST_REQUEST_BYTES = 1_000_000
BAD_INPUT = 2

# Named, not imported, so that each command loads only what it works with: a phone runs one of them.
COMMANDS = {
    "predict": "service.chemistry.predict:predict",
    "treat": "service.chemistry.treatment.treat:treat",
    "guidelines": "service.chemistry.guidelines.catalogue:answer",
}

DESCRIPTION = """\
Spa-water chemistry. Each command reads one JSON object from standard input and writes one to
standard output. A reading that is left out is not known; it is never taken for zero without
saying so. The product label and local code come first; every figure assumes the stated volume
and strength.

  predict     what a water becomes after doses, drains, heating, air and use
  treat       what is wrong with a water and what to do about it, step by step
  guidelines  the guideline sets that readings can be judged by

Bad input ends with exit status 2 and {"errors": [{"field", "message"}]}.
`python -m service.chemistry COMMAND --help` shows the request and the answer of a command.
"""

HELP = {
    "predict": """\
Work out a water before and after a sequence of steps.

Request, on standard input:
  {"volume_l": 1250,
   "readings": {"temperature_c": 38.5, "ph": 7.4, "total_alkalinity_mg_l": 100,
                "calcium_hardness_mg_l": 150, "free_chlorine_mg_l": 3,
                "total_dissolved_solids_mg_l": 800},
   "background_mmol_l": {"Na": 5, "K": 0.1, "Mg": 0.3, "Cl": 4, "SO4": 0.5},
   "steps": [{"add": "sodium_bicarbonate", "mass_g": 115.4, "active_fraction": 1.0},
             {"replace_fraction": 0.5, "fill": {"temperature_c": 12, "ph": 7.8,
              "total_alkalinity_mg_l": 60, "calcium_hardness_mg_l": 80}, "temperature_c": 38},
             {"open_to_air_log10_pco2_atm": -3.38},
             {"temperature_c": 40},
             {"free_chlorine_used_mg_l": 3.0},
             {"oxidiser_used_up": true}]}

Needed: volume_l (100 to 20000 L) and in the readings temperature_c (0 to 45), ph and
total_alkalinity_mg_l (as CaCO3). Further readings: calcium_hardness_mg_l (as CaCO3),
cyanuric_acid_mg_l, borate_mg_l (as B), free_chlorine_mg_l and total_chlorine_mg_l (as Cl2),
total_bromine_mg_l (as Br2), bromide_mg_l, total_dissolved_solids_mg_l, sulfate_mg_l.
A reading is a number or {"value", "plus_minus", "method", "at", "bound", "dilution_factor"}.
Without background_mmol_l the dissolved solids are made up with sodium chloride; the supply of a
replacement may have its own fill_background_mmol_l.
Steps are applied in order; "free_chlorine_used_mg_l" may be "all".

Answer: {"before": figures, "after": figures, "assumed": [names], "cautions": [sentences]}; null is
not known.

Substances:
""",
    "treat": """\
Judge the readings by a guideline set and plan a treatment with the products at hand.

Request, on standard input:
  {"volume_l": 1250, "volume_basis": "plate", "sanitiser": "chlorine",
   "readings": {"temperature_c": 38.5, "ph": 7.9, "total_alkalinity_mg_l": 60,
                "calcium_hardness_mg_l": 150, "free_chlorine_mg_l": 1,
                "total_dissolved_solids_mg_l": 800},
   "guideline": "an id that the guidelines command lists", "setting": "outdoor",
   "products": [{"id": "bicarbonate", "substance": "sodium_bicarbonate", "active_fraction": 0.99,
                 "form": "granules"}]}

Optional: fill (readings of the supply water), shell, forbidden_substances, bathers_expected,
minutes_on_site, recent (what was added, when), holds; of a product density_g_ml, unit_mass_g,
label_wait_minutes, label_max_g_per_m3.

Answer: {"fit_for_use", "verdict", "findings", "treatment", "expected", "unmet", "retest",
"wait_before_use_minutes", "cautions"}. fit_for_use speaks of the water as it was read.

Substances:
""",
    "guidelines": """\
List the guideline sets, as {"guidelines": [...]}, or show one with every row, duty and clause:
`guidelines dc_25c`. Two sets used together are written with a plus: `maine_10_144_202+dc_25c`.
Nothing is read from standard input.

Each set carries its document, edition and how far its figures were checked against it. Rows that
rest on memory are marked "memory": check them against the document before relying on them.
""",
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status: 0, or 2 for bad input."""
    asked = _parser().parse_args(arguments)
    try:
        answer = _run(asked.command, getattr(asked, "id", None))
    except InputError as refused:
        print(json.dumps(refused.as_dict(), indent=1))
        return BAD_INPUT
    print(json.dumps(answer, indent=1))
    return 0


def _run(command: str, guideline_id: str | None) -> Any:
    module, function = COMMANDS[command].split(":")
    if command == "guidelines":
        return getattr(import_module(module), function)(guideline_id)
    request = read_request(sys.stdin.buffer)
    work: Callable[[Any], Any] = getattr(import_module(module), function)
    return work(request)


def read_request(source: BinaryIO) -> Any:
    """The JSON value on a stream; InputError for what is no JSON or is too much of it.

    >>> from io import BytesIO
    >>> read_request(BytesIO(b'{"volume_l": 1250}'))
    {'volume_l': 1250}
    """
    text = source.read(LARGEST_REQUEST_BYTES + 1)
    if len(text) > LARGEST_REQUEST_BYTES:
        while source.read(LARGEST_REQUEST_BYTES):
            pass
        raise refuse("request", f"The request must be at most {LARGEST_REQUEST_BYTES:,} bytes of JSON")
    if not text.strip():
        raise refuse("request", "The request must be a JSON object on standard input")
    try:
        return json.loads(text)
    except json.JSONDecodeError as fault:
        raise refuse(
            "request", f"Not valid JSON at line {fault.lineno}, column {fault.colno}: {fault.msg}"
        ) from None
    except UnicodeDecodeError:
        raise refuse("request", "The request must be JSON in UTF-8") from None
    except ValueError:
        raise refuse("request", "The request holds a number with far too many digits") from None
    except RecursionError:
        raise refuse("request", "The request is nested far too deeply") from None


def _parser() -> argparse.ArgumentParser:
    substances = import_module("service.chemistry.substances").SUBSTANCES
    shown = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(
        prog="python -m service.chemistry", description=DESCRIPTION, formatter_class=shown
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="predict|treat|guidelines")
    ending = "".join(f"  {substance}\n" for substance in substances)
    for name, text in HELP.items():
        full = text + ending if text.endswith("Substances:\n") else text
        command = commands.add_parser(name, description=full, formatter_class=shown)
        if name == "guidelines":
            command.add_argument("id", nargs="?", help="show this one set, or a pair, in full")
    return parser


if __name__ == "__main__":
    sys.exit(main())
