"""Travel times by road: our own graph, a straight line, or a table server. No Django in here.

``times`` says what every source gives; ``straight_line``, ``extract`` and ``server`` are the sources.
``read_extract`` and ``graph`` turn an OpenStreetMap extract into the roads that ``extract`` searches.
"""
