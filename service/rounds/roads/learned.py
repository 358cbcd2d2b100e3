"""One factor on all predicted drives, learned from drives that were made."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

FEWEST_DRIVES = 30
"""Fewer say more about single days than about the roads. Our choice."""
LEAST, MOST = 0.5, 2.0
"""Outside it something else is wrong: visits signed at home, pins in the wrong place."""
SHORTEST_S = 60
"""Drives to the house next door measure how long the van is packed, not the road."""
LONGEST_S = 2 * 3600


@dataclass(frozen=True)
class Drive:
    """One drive: what the source said, and what passed between leaving and arriving, in seconds."""

    predicted_s: float
    measured_s: float


@dataclass(frozen=True)
class Learned:
    """The factor, from how many drives, and whether it is applied.

    factor  Median of measured over predicted; 1 when nothing is known.
    used    False when there are too few drives or the factor is not believable.
    words   What the office reads.
    ratios  Measured over predicted, of each drive that counts.
    """

    factor: float
    drives: int
    used: bool
    words: str
    ratios: tuple[float, ...] = ()

    def typical_error(self, factor: float) -> float | None:
        """By how much half of the drives are off at most with ``factor``, as a share of the measured time.

        None without drives.
        """
        return median(abs(factor / ratio - 1) for ratio in self.ratios) if self.ratios else None


def learn(drives: Sequence[Drive]) -> Learned:
    """The factor that the drives tell.

    The median is unmoved by lunches, errands and forgotten signatures, up to half of all drives.

    >>> learn([Drive(600, 660)] * 40).words
    'Drives take 1.10 times the predicted time (median of 40 drives).'
    """
    ratios = tuple(drive.measured_s / drive.predicted_s for drive in drives if _counts(drive))
    count = len(ratios)
    if count < FEWEST_DRIVES:
        words = f"{_drives(count)} measured; {FEWEST_DRIVES} are needed to learn from."
        return Learned(1.0, count, False, words, ratios)
    factor = round(median(ratios), 3)
    if not LEAST <= factor <= MOST:
        words = f"{_drives(count)} measured; {factor:.2f} times the predicted time is not believable."
        return Learned(factor, count, False, words, ratios)
    words = f"Drives take {factor:.2f} times the predicted time (median of {count} drives)."
    return Learned(factor, count, True, words, ratios)


def _counts(drive: Drive) -> bool:
    return drive.predicted_s >= SHORTEST_S and 0 < drive.measured_s <= LONGEST_S


def _drives(count: int) -> str:
    return "1 drive" if count == 1 else f"{count} drives"
