"""Drives already worked out, so that a new site costs one row and not a whole matrix."""

from typing import ClassVar

from django.db import models
from django.utils import timezone

from accounts.ownership import OwnedByOrganisation


class RoadRow(OwnedByOrganisation):
    """The drives between one point and others, both directions, as one source said them.

    The points are the firm's sites, so the rows are the firm's. A moved site is another point; rows of
    another ``version`` of the source are not read, and swept when new ones are kept.
    """

    version = models.CharField(max_length=80)
    # The point in 1e-5 degrees, about a metre.
    latitude_e5 = models.IntegerField()
    longitude_e5 = models.IntegerField()
    snap_m = models.FloatField()
    # Why the point has no drives; empty when it has.
    reason = models.CharField(max_length=300, blank=True)
    # ``road_rows.DRIVES``: other point, seconds and metres there, seconds and metres back.
    drives = models.BinaryField()
    kept_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "version", "latitude_e5", "longitude_e5"], name="road_row_once"
            ),
        ]

    def __str__(self) -> str:
        return f"Drives of one point, {self.version}"
