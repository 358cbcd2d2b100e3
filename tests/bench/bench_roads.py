"""How long the roads take: build, whole matrices, one new site, the drawing.

    python -m tests.bench.bench_roads [--repeats 5] [--extract FILE]

Each figure is the best of the repeats, to leave out what else the machine was doing. One process.
Places are drawn at random from the roads, with a fixed seed.
"""

import argparse
import tempfile
from collections.abc import Callable
from pathlib import Path
from time import perf_counter
from typing import TypeVar

import numpy as np

from service.rounds.roads import extract, graph
from service.rounds.roads.drawing import drawing
from service.rounds.roads.extract import Extract
from service.rounds.roads.read_extract import read_extract
from service.rounds.roads.times import Point
from tests.bench.bench_chemistry import machine

SHIPPED = Path(__file__).parents[2] / "fixtures" / "roads" / "liechtenstein-2013-08-03.osm.pbf"
SIZES = (100, 300, 600)
Result = TypeVar("Result")


def best_of(repeats: int, work: Callable[[], Result]) -> tuple[float, Result]:
    """Shortest time in seconds, and the last result."""
    times = []
    for _ in range(repeats):
        start = perf_counter()
        result = work()
        times.append(perf_counter() - start)
    return min(times), result


def places(roads: Extract, count: int) -> list[Point]:
    """Positions of the roads' own shape, the same in every run."""
    latitude, longitude = roads.graph.shape_degrees
    chosen = np.random.default_rng(1).choice(len(latitude), count, replace=count > len(latitude))
    return [Point(float(latitude[i]), float(longitude[i])) for i in chosen]


def fresh(roads: Extract) -> Extract:
    """The same roads, having snapped nothing yet."""
    return Extract(roads.graph)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--extract", type=Path, default=SHIPPED)
    asked = parser.parse_args()
    print(machine())
    read_s, read = best_of(asked.repeats, lambda: read_extract(asked.extract))
    build_s, built = best_of(asked.repeats, lambda: graph.build_graph(read))
    print(f"{asked.extract.name}: read {read_s:.2f} s, graph {build_s:.2f} s")
    with tempfile.TemporaryDirectory() as folder:
        compiled = extract.build(asked.extract, Path(folder))
        load_s, _ = best_of(asked.repeats, lambda: Extract(graph.read(compiled)))
        print(f"compiled {compiled.stat().st_size / 1000:.0f} kB, load {1000 * load_s:.0f} ms")
    roads = Extract(built)
    for size in SIZES:
        some = places(roads, size)
        first_s, travel = best_of(asked.repeats, lambda some=some: fresh(roads).matrix(some))
        print(
            f"{size} × {size}, seconds and metres: {first_s:.2f} s "
            f"({len(travel.unreachable)} of {size} have no drives)"
        )
    some = places(roads, SIZES[-1])
    roads.matrix(some)
    new = places(roads, SIZES[-1] + 5)[-5:]
    row_s, _ = best_of(asked.repeats, lambda: roads.rows(new[:1], some))
    print(f"one new site, there and back against {SIZES[-1]}: {1000 * row_s:.0f} ms")
    line_s, _ = best_of(asked.repeats, lambda: roads.line(some[0], some[1]))
    draw_s, text = best_of(1, lambda: drawing(built))
    print(f"course of one drive {1000 * line_s:.0f} ms; drawing {draw_s:.2f} s, {len(text.encode()):,} bytes")


if __name__ == "__main__":
    main()
