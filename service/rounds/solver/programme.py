"""A programme in zeros and ones, written down column by column and solved by HiGHS."""

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import highspy
import numpy as np
from numpy.typing import NDArray

Row = tuple[str, Any] | tuple[str, int, Any]
"""Name of a condition, its kind first: what its columns add up to lies between two bounds."""

SLIGHTEST_GAIN = 1e-6
"""Least gain worth a search, as a share of the cost of what is known."""


@dataclass
class Programme:
    """Columns with their costs and entries, and the bounds of the rows."""

    costs: list[float] = field(default_factory=list)
    entries: list[Sequence[tuple[Row, float]]] = field(default_factory=list)
    rows: dict[Row, tuple[float, float]] = field(default_factory=dict)
    """Least and most of every row."""

    def add(self, cost: float, entries: Sequence[tuple[Row, float]]) -> int:
        """A new column; its number."""
        self.costs.append(cost)
        self.entries.append(entries)
        return len(self.costs) - 1

    def cost_of(self, chosen: Iterable[int]) -> float:
        """Cost of a choice of columns."""
        return sum(self.costs[column] for column in chosen)

    def improve(
        self, known: Sequence[int], spare: int, most: int, *, until: float | None, nodes: int
    ) -> list[int] | None:
        """Columns that cost less than the known ones and keep every row, or None.

        The linear relaxation tells which columns can be of use; the first ``spare`` stay in any case,
        of the others at most ``most``. ``until`` is a moment of the monotonic clock; without it the
        search ends after so many ``nodes``.
        """
        upper = self.cost_of(known)
        scale = 1e4 / max(upper, 1.0)
        columns = np.arange(len(self.costs))
        relaxed = self._run(columns, scale, until, nodes, None)
        if relaxed is None:
            return None
        room = upper * scale * (1 - SLIGHTEST_GAIN) - relaxed.getInfo().objective_function_value
        if room <= 0:
            return None
        reduced = np.array(relaxed.getSolution().col_dual)
        columns = _worth_using(reduced, room, known, spare, most)
        solved = self._run(columns, scale, until, nodes, known)
        if solved is None:
            return None
        values = np.array(solved.getSolution().col_value)
        chosen: list[int] = columns[values > 0.5].tolist()
        return chosen if self.cost_of(chosen) < upper else None

    def _run(
        self,
        columns: NDArray[np.int64],
        scale: float,
        until: float | None,
        nodes: int,
        known: Sequence[int] | None,
    ) -> highspy.Highs | None:
        """HiGHS after a run over some columns; whole numbers are asked for when a choice is known."""
        highspy.Highs.resetGlobalScheduler(True)  # else the number of threads cannot be set
        highs = highspy.Highs()  # type: ignore[no-untyped-call]
        highs.setOptionValue("output_flag", False)
        highs.setOptionValue("threads", 1)
        highs.setOptionValue("mip_rel_gap", SLIGHTEST_GAIN)
        if until is None:
            highs.setOptionValue("mip_max_nodes", nodes)
        elif until <= time.monotonic():
            return None
        else:
            highs.setOptionValue("time_limit", until - time.monotonic())
        highs.passModel(self._model(columns, scale, is_whole=known is not None))
        if known is not None:
            place = {column: i for i, column in enumerate(columns.tolist())}
            values = np.zeros(len(columns))
            values[[place[column] for column in known]] = 1.0
            start = highspy.HighsSolution()
            start.col_value = values
            highs.setSolution(start)
        highs.run()
        if known is None:
            is_done = highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
        else:
            is_done = highs.getInfo().primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
        return highs if is_done else None

    def _model(self, columns: NDArray[np.int64], scale: float, *, is_whole: bool) -> highspy.HighsLp:
        number = {row: i for i, row in enumerate(self.rows)}
        chosen = [self.entries[column] for column in columns.tolist()]
        model = highspy.HighsLp()
        model.num_col_, model.num_row_ = len(columns), len(number)
        model.col_cost_ = np.array(self.costs)[columns] * scale
        model.col_lower_ = np.zeros(len(columns))
        model.col_upper_ = np.ones(len(columns))
        model.row_lower_ = np.array([low for low, _ in self.rows.values()])
        model.row_upper_ = np.array([high for _, high in self.rows.values()])
        model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        model.a_matrix_.start_ = np.cumsum([0, *map(len, chosen)])
        model.a_matrix_.index_ = np.array([number[row] for entries in chosen for row, _ in entries])
        model.a_matrix_.value_ = np.array([value for entries in chosen for _, value in entries])
        if is_whole:
            model.integrality_ = [highspy.HighsVarType.kInteger] * len(columns)
        return model


def _worth_using(
    reduced: NDArray[np.float64], room: float, known: Sequence[int], spare: int, most: int
) -> NDArray[np.int64]:
    """Columns whose reduced cost does not exceed the room for gain, the most promising ones."""
    reduced = reduced.copy()
    reduced[list(known)] = -np.inf
    others = np.argsort(reduced[spare:], kind="stable")[:most] + spare
    kept = others[reduced[others] <= room]
    return np.concatenate([np.arange(spare), np.sort(kept)])
