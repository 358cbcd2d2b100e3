"""What documents ask beside limits: tests, drains, filters, records, closing conditions.

Named tuples, not data classes: there are many kinds, each costs five times less to define, and the
engine starts anew for every command and on every phone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from .citation import Citation


class FrequencyOfTests(NamedTuple):
    """How often parameters are tested.

    feed "manual" or "automatic", facility "let" or "commercial"; None: any. at: times of day in words.
    """

    citation: Citation
    parameters: tuple[str, ...]
    feed: str | None = None
    facility: str | None = None
    only_if_used: bool = False
    times_per_day: int | None = None
    interval_hours: int | None = None
    interval_days: int | None = None
    at: tuple[str, ...] = ()
    as_written: str | None = None


class RecordRetention(NamedTuple):
    """How many years records are kept; incidents may have a longer time."""

    citation: Citation
    records: str
    years: int
    incident_years: int | None = None


class WaterReplacement(NamedTuple):
    """When water is replaced, by one named way of counting; choice: one of several the document offers."""

    citation: Citation
    formula_id: str
    days: int | None = None
    rise_mg_l: int | None = None
    mg_l: int | None = None
    gallons_per_bather: int | None = None
    bathers_per_m3: int | None = None
    facility: str | None = None
    choice: bool = False


class FilterCleaning(NamedTuple):
    """When a filter is cleaned. inlet_gauge: only with (True) or without (False) a working gauge."""

    citation: Citation
    filter: str
    max_days: int | None = None
    inlet_gauge: bool | None = None
    at_drain: bool = False
    between_groups: bool = False
    as_written: str | None = None


class DrainInterval(NamedTuple):
    """The longest time between drains, and whether each change of group asks for one."""

    citation: Citation
    max_days: int
    between_groups: bool = False
    facility: str | None = None
    as_written: str | None = None


class MicrobiologyInterval(NamedTuple):
    """How often a laboratory sample is taken."""

    citation: Citation
    parameters: tuple[str, ...]
    interval_days: int
    as_written: str | None = None


class HandDosingClosure(NamedTuple):
    """Closed while and after dosing by hand; after breakpoint until free chlorine is back."""

    citation: Citation
    closed_after_hours: int
    reopen_free_chlorine_at_or_below_mg_l: int
    reopen_applies_to: str


class Superchlorination(NamedTuple):
    """A regular high dose, as a multiple of combined chlorine or as a level to reach."""

    citation: Citation
    interval_days: int
    times_combined_chlorine: int | None = None
    target_free_chlorine_mg_l: int | None = None
    closed: bool = False
    as_written: str | None = None


class OtherDuty(NamedTuple):
    """Any other duty with its figure."""

    citation: Citation
    id: str
    at: str | None = None
    max_days: int | None = None
    max_minutes: int | None = None
    flush_minutes: int | None = None
    litres_per_bather: int | None = None
    sq_ft_per_bather: int | None = None
    m2_per_bather: Decimal | None = None
    as_written: str | None = None


class RepeatedDays(NamedTuple):
    """A duty that falls due when one of several ranges was met on so many days.

    any_of  Alternatives; each maps parameters to (low, high), ends included, all of which must hold.
    """

    citation: Citation
    id: str
    duty: str
    any_of: tuple[Mapping[str, tuple[Decimal, Decimal]], ...]
    consecutive_days: int
    days_of_seven: int


class Sign(NamedTuple):
    """A sign that must be up."""

    citation: Citation
    sign: str
    minimum_area_sq_ft: int | None = None


class RecordFields(NamedTuple):
    """What a log must hold."""

    citation: Citation
    fields: tuple[str, ...]


class ClosureCondition(NamedTuple):
    """A reason to close. question: the inspection question whose No means it, where there is one."""

    citation: Citation
    id: str
    condition: str
    detectable_from: str
    question: str | None = None


@dataclass(frozen=True)
class Duties:
    """All duties of a set, by kind."""

    test_frequency: tuple[FrequencyOfTests, ...] = ()
    record_retention: tuple[RecordRetention, ...] = ()
    water_replacement: tuple[WaterReplacement, ...] = ()
    filter_cleaning: tuple[FilterCleaning, ...] = ()
    drain_interval: tuple[DrainInterval, ...] = ()
    microbiology_intervals: tuple[MicrobiologyInterval, ...] = ()
    hand_dosing_closure: tuple[HandDosingClosure, ...] = ()
    superchlorination: tuple[Superchlorination, ...] = ()
    other_duties: tuple[OtherDuty, ...] = ()
    repeated_days: tuple[RepeatedDays, ...] = ()
    signage: tuple[Sign, ...] = ()
    record_fields: tuple[RecordFields, ...] = ()
