"""``manage.py roads build FILE``: plan with the roads of an OpenStreetMap extract."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from service.rounds.roads.extract import Extract
from service.rounds.roads.times import RoadsError
from service.rounds.travel import for_demonstration, roads_of_this_machine, use_roads


class Command(BaseCommand):
    help = (
        "Roads for planning. 'build FILE' compiles an OpenStreetMap extract (.osm.pbf) and plans with it "
        "from now on: cut it to your area plus 20 km, since roads beyond its edge are missing and make "
        "drives near the edge look longer than they are. 'show' says what is in use."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        what = parser.add_subparsers(dest="what", required=True)
        what.add_parser("build", help="compile an extract and use it").add_argument("file", type=Path)
        what.add_parser("show", help="what is in use")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            roads = use_roads(options["file"]) if options["what"] == "build" else roads_of_this_machine()
        except RoadsError as error:
            raise CommandError(str(error)) from error
        self.stdout.write("\n".join(_described(roads)))


def _described(roads: Extract) -> list[str]:
    graph = roads.graph
    main_km = graph.edge_metres[graph.edge_main].sum() / 1000
    lines = [
        f"In use: {roads.source}.",
        f"{graph.edge_metres.sum() / 1000:,.0f} km of road, {main_km:,.0f} km of it hanging together; "
        f"{len(graph.node_main):,} junctions, {len(graph.places)} places.",
        f"{roads.honesty}. {roads.attribution}.",
    ]
    return (
        [*lines, "These are the roads that come with the demonstration."]
        if for_demonstration(roads)
        else lines
    )
