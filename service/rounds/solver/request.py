"""From the JSON request to a checked Problem."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .fields import BadRequestError, Fields
from .problem import (
    NO_ROAD_TICKS,
    TICKS_PER_UNIT,
    After,
    Pause,
    Pin,
    PreviousRoute,
    Prices,
    Problem,
    Shift,
    Technician,
    Visit,
    Window,
)

MOST_DAYS = 60
LATEST_S = 2 * 86_400
"""Latest time of a day that makes sense: a night shift ends on the following day."""

Matrix = NDArray[np.int64]
Json = Mapping[str, Any]


def read_problem(request: Any) -> Problem:
    """The problem a request describes; raises BadRequestError naming every field that is wrong."""
    if not isinstance(request, Mapping):
        raise BadRequestError([{"field": "", "message": "the request must be a JSON object"}])
    return _Reader(request).problem()


class _Reader:
    """One pass over a request."""

    def __init__(self, request: Json) -> None:
        self.request = request
        self.fields = Fields()
        travel = self.fields.object(request.get("travel"), "travel")
        self.euclidean = travel.get("metric") == "euclidean"
        self.scale = TICKS_PER_UNIT if self.euclidean else 1
        self.days = int(self.fields.number(request.get("days"), "days", low=1, high=MOST_DAYS, whole=True))

    def problem(self) -> Problem:
        request, fields = self.request, self.fields
        places = [
            fields.object(place, f"locations[{i}]")
            for i, place in enumerate(fields.list(request.get("locations"), "locations"))
        ]
        ids = [fields.text(place.get("id"), f"locations[{i}].id") for i, place in enumerate(places)]
        self.locations = fields.unique(ids, "locations", "location")
        self.technician_ids = self._ids("technicians", "technician")
        self.visit_ids = self._ids("visits", "visit")
        travel, metres = self._travel(places)
        self.load_scale = self._load_scale()
        technicians = tuple(self._each("technicians", self._technician))
        visits = tuple(self._each("visits", self._visit))
        previous = self._previous()
        prices = self._prices()
        fields.stop_if_bad()
        self._refuse_circles(visits)
        fields.stop_if_bad()
        return Problem(
            days=self.days,
            ticks_per_second=self.scale,
            travel=travel,
            metres=metres,
            location_ids=tuple(ids),
            technicians=technicians,
            visits=visits,
            prices=prices,
            load_scale=self.load_scale,
            previous=previous,
        )

    def _each(self, key: str, read: Any) -> list[Any]:
        items = self.fields.list(self.request.get(key), key)
        return [
            read(self.fields.object(item, f"{key}[{i}]"), f"{key}[{i}]", i) for i, item in enumerate(items)
        ]

    def _ids(self, key: str, what: str) -> dict[str, int]:
        items = self.fields.list(self.request.get(key), key)
        ids = [
            self.fields.text(item.get("id") if isinstance(item, Mapping) else None, f"{key}[{i}].id")
            for i, item in enumerate(items)
        ]
        return self.fields.unique(ids, key, what)

    def _ticks(self, value: Any, field: str, *, default: int | None = None, high: float = LATEST_S) -> int:
        """A time as ticks. Seconds must be whole; units of the plane may have decimals."""
        if value is None and default is not None:
            return default
        if self.euclidean:
            return round(self.fields.number(value, field, high=1e6) * self.scale)
        return int(self.fields.number(value, field, high=high, whole=True, unit="seconds"))

    def _day(self, value: Any, field: str) -> int:
        return int(self.fields.number(value, field, high=self.days - 1, whole=True))

    def _load_scale(self) -> int:
        """1 when every load is whole, else 1,000."""
        loads = [item.get("load") for item in self.request.get("visits") or () if isinstance(item, Mapping)]
        loads += [
            item.get("capacity")
            for item in self.request.get("technicians") or ()
            if isinstance(item, Mapping)
        ]
        numbers = [load for load in loads if isinstance(load, int | float)]
        return 1 if all(float(load).is_integer() for load in numbers) else 1000

    def _travel(self, places: list[Json]) -> tuple[Matrix, NDArray[np.float64]]:
        if self.euclidean:
            return self._plane(places)
        travel = self.fields.object(self.request.get("travel"), "travel")
        seconds = self._matrix(travel.get("seconds"), "travel.seconds", len(places))
        metres = self._matrix(travel.get("metres"), "travel.metres", len(places))
        no_road = (seconds < 0) | (metres < 0)
        seconds[no_road] = NO_ROAD_TICKS
        np.fill_diagonal(seconds, 0)
        np.fill_diagonal(metres, 0)
        metres[no_road] = 0
        return seconds, metres.astype(np.float64)

    def _plane(self, places: list[Json]) -> tuple[Matrix, NDArray[np.float64]]:
        xy = np.zeros((len(places), 2))
        for i, place in enumerate(places):
            for j, axis in enumerate(("x", "y")):
                field = f"locations[{i}].{axis}"
                xy[i, j] = self.fields.number(place.get(axis), field, low=-1e6, high=1e6)
        metres = np.sqrt(((xy[:, None, :] - xy[None, :, :]) ** 2).sum(axis=2))
        # Rounded up, so that no arrival is ever stated earlier than it can be.
        return np.ceil(metres * self.scale - 1e-6).astype(np.int64), metres

    def _matrix(self, rows: Any, field: str, size: int) -> Matrix:
        """A square matrix of whole numbers; null (no road) becomes -1."""
        matrix = np.zeros((size, size), dtype=np.int64)
        if not isinstance(rows, list) or len(rows) != size:
            self.fields.fail(field, f"must have one row for each of the {size} locations")
            return matrix
        for i, row in enumerate(rows):
            if not isinstance(row, list) or len(row) != size:
                self.fields.fail(f"{field}[{i}]", f"must have {size} numbers")
                continue
            self._row(row, f"{field}[{i}]", matrix[i])
        return matrix

    def _row(self, row: list[Any], field: str, into: Matrix) -> None:
        for j, value in enumerate(row):
            if value is None:
                into[j] = -1
            elif type(value) is int and 0 <= value < NO_ROAD_TICKS:
                into[j] = value
            else:
                into[j] = int(self.fields.number(value, f"{field}[{j}]", high=NO_ROAD_TICKS - 1, whole=True))

    def _technician(self, item: Json, field: str, _: int) -> Technician:
        fields = self.fields
        start = fields.choice(item.get("start"), f"{field}.start", self.locations, "location")
        end = start
        if item.get("end") is not None:
            end = fields.choice(item["end"], f"{field}.end", self.locations, "location")
        capacity = fields.optional_number(item.get("capacity"), f"{field}.capacity")
        shifts = fields.list(item.get("shifts"), f"{field}.shifts")
        return Technician(
            id=item.get("id", ""),
            start=start,
            end=end,
            capacity=None if capacity is None else int(capacity * self.load_scale),
            skills=fields.texts(item.get("skills"), f"{field}.skills"),
            shifts=tuple(self._shift(shift, f"{field}.shifts[{i}]") for i, shift in enumerate(shifts)),
        )

    def _shift(self, value: Any, field: str) -> Shift:
        item = self.fields.object(value, field)
        starts, ends = (
            self._ticks(item.get("from"), f"{field}.from"),
            self._ticks(item.get("to"), f"{field}.to"),
        )
        if ends < starts:
            self.fields.fail(f"{field}.to", "the shift ends before it begins")
        longest = item.get("max_duration")
        return Shift(
            day=self._day(item.get("day"), f"{field}.day"),
            starts=starts,
            ends=ends,
            max_duration=None if longest is None else self._ticks(longest, f"{field}.max_duration"),
            pause=self._pause(item.get("break"), f"{field}.break"),
            overtime_max=self._ticks(item.get("overtime_max"), f"{field}.overtime_max", default=0),
        )

    def _pause(self, value: Any, field: str) -> Pause | None:
        if value is None:
            return None
        item = self.fields.object(value, field)
        pause = Pause(
            opens=self._ticks(item.get("from"), f"{field}.from"),
            closes=self._ticks(item.get("to"), f"{field}.to"),
            duration=self._ticks(item.get("duration"), f"{field}.duration"),
        )
        if pause.latest < pause.opens:
            self.fields.fail(f"{field}.duration", "the break is longer than the time it may be taken in")
        return pause if pause.duration else None

    def _visit(self, item: Json, field: str, index: int) -> Visit:
        fields = self.fields
        windows = fields.list(item.get("windows"), f"{field}.windows", missing_ok=True)
        load = fields.optional_number(item.get("load"), f"{field}.load") or 0
        return Visit(
            id=item.get("id", ""),
            location=fields.choice(item.get("location"), f"{field}.location", self.locations, "location"),
            service=self._ticks(item.get("service"), f"{field}.service", default=0),
            load=int(-(-load * self.load_scale // 1)),
            needs=fields.texts(item.get("needs"), f"{field}.needs"),
            day_choices=self._day_choices(item.get("day_choices"), f"{field}.day_choices"),
            windows=tuple(self._window(w, f"{field}.windows[{i}]") for i, w in enumerate(windows)),
            optional=fields.flag(item.get("optional"), f"{field}.optional"),
            drop_penalty=fields.optional_number(item.get("drop_penalty"), f"{field}.drop_penalty"),
            pins=self._pins(item.get("pinned"), f"{field}.pinned"),
            not_with=self._people(item.get("not_with"), f"{field}.not_with"),
            preferred=self._people(item.get("preferred"), f"{field}.preferred"),
            together_with=self._together(item.get("together_with"), f"{field}.together_with", index),
            after=self._after(item.get("after"), f"{field}.after", index),
        )

    def _people(self, value: Any, field: str) -> frozenset[int]:
        names = sorted(self.fields.texts(value, field))
        return frozenset(self.fields.choice(name, field, self.technician_ids, "technician") for name in names)

    def _day_choices(self, value: Any, field: str) -> tuple[tuple[int, ...], ...]:
        choices = []
        for i, days in enumerate(self.fields.list(value, field)):
            at = f"{field}[{i}]"
            chosen = {self._day(day, f"{at}[{j}]") for j, day in enumerate(self.fields.list(days, at))}
            if not chosen:
                self.fields.fail(at, "must name at least one day")
            choices.append(tuple(sorted(chosen)))
        if not choices:
            self.fields.fail(field, "must offer at least one set of days")
        return tuple(dict.fromkeys(choices))

    def _window(self, value: Any, field: str) -> Window:
        item = self.fields.object(value, field)
        opens, closes = (
            self._ticks(item.get("from"), f"{field}.from"),
            self._ticks(item.get("to"), f"{field}.to"),
        )
        if closes < opens:
            self.fields.fail(f"{field}.to", "the window closes before it opens")
        day = item.get("day")
        return Window(None if day is None else self._day(day, f"{field}.day"), opens, closes)

    def _pins(self, value: Any, field: str) -> tuple[Pin, ...]:
        """What a visit is pinned to: one pin, or a list of them for a visit of several days."""
        if value is None:
            return ()
        if isinstance(value, list):
            return tuple(self._pin(item, f"{field}[{i}]") for i, item in enumerate(value))
        return (self._pin(value, field),)

    def _pin(self, value: Any, field: str) -> Pin:
        item = self.fields.object(value, field)
        technician, day, starts = item.get("technician"), item.get("day"), item.get("from")
        return Pin(
            technician=None
            if technician is None
            else self.fields.choice(technician, f"{field}.technician", self.technician_ids, "technician"),
            day=None if day is None else self._day(day, f"{field}.day"),
            starts=None if starts is None else self._ticks(starts, f"{field}.from"),
        )

    def _together(self, value: Any, field: str, index: int) -> frozenset[int]:
        names = sorted(self.fields.texts(value, field))
        others = {self.fields.choice(name, field, self.visit_ids, "visit") for name in names}
        return frozenset(others - {index})

    def _after(self, value: Any, field: str, index: int) -> After | None:
        if value is None:
            return None
        item = self.fields.object(value, field)
        visit = self.fields.choice(item.get("visit"), f"{field}.visit", self.visit_ids, "visit")
        if visit == index and item.get("visit") in self.visit_ids:
            self.fields.fail(f"{field}.visit", "a visit cannot come after itself")
        gap = self._ticks(item.get("min_gap"), f"{field}.min_gap", default=0, high=MOST_DAYS * 86_400)
        return After(visit, gap)

    def _refuse_circles(self, visits: tuple[Visit, ...]) -> None:
        """A visit must not come after itself, not even through others."""
        for index, visit in enumerate(visits):
            at, steps = visit, 0
            while at.after is not None and steps <= len(visits):
                at, steps = visits[at.after.visit], steps + 1
                if at is visit:
                    self.fields.fail(
                        f"visits[{index}].after", f"{visit.id} comes after itself through other visits"
                    )
                    break

    def _previous(self) -> tuple[PreviousRoute, ...] | None:
        """Last plan's routes; people and visits that no longer exist are left out of it."""
        value = self.request.get("previous")
        if value is None:
            return None
        if isinstance(value, Mapping):
            value = value.get("routes")
        routes = []
        for i, route in enumerate(self.fields.list(value, "previous")):
            item = self.fields.object(route, f"previous[{i}]")
            stops = self.fields.list(item.get("stops"), f"previous[{i}].stops")
            kept = [s for s in stops if isinstance(s, Mapping) and s.get("visit") in self.visit_ids]
            day, technician = item.get("day"), self.technician_ids.get(item.get("technician") or "")
            if technician is None or not isinstance(day, int) or not 0 <= day < self.days:
                continue
            routes.append(
                PreviousRoute(
                    technician=technician,
                    day=day,
                    visits=tuple(self.visit_ids[s["visit"]] for s in kept),
                    starts=tuple(self._known_start(s.get("start")) for s in kept),
                )
            )
        return tuple(routes)

    def _known_start(self, value: Any) -> int | None:
        return round(value * self.scale) if isinstance(value, int | float) else None

    def _prices(self) -> Prices:
        """Prices per metre and second; the user's units (km, minutes) are converted here, once."""
        key = "prices" if self.request.get("prices") is not None else "objective"
        item = self.fields.object(self.request.get(key) or {}, key)

        def price(name: str) -> float:
            return self.fields.optional_number(item.get(name), f"{key}.{name}", high=1e7) or 0.0

        driving = price("driving") + price("driving_minute") / 60
        duration = price("duration") + price("duration_minute") / 60
        distance = price("distance") + price("kilometre") / 1000
        if item.get("distance") is None and not (driving or duration or distance):
            distance = 1.0
        moved = price("moved_visit")
        technician = item.get("moved_technician")
        return Prices(
            distance=distance,
            driving=driving,
            duration=duration,
            overtime=price("overtime") + price("overtime_minute") / 60,
            vehicle_day=price("vehicle_day"),
            moved_visit=moved,
            moved_technician=moved / 4 if technician is None else price("moved_technician"),
            not_preferred=price("not_preferred"),
        )
