"""What the API keeps of its own: the answers to writes, for a while."""

from typing import ClassVar

from django.db import models
from django.utils import timezone

from accounts.models import AccessToken
from accounts.ownership import OwnedByOrganisation
from service.api.limits import KEY_LONGEST


class KeptAnswer(OwnedByOrganisation):
    """A write that a token asked for under a key of its own, and the answer once it is known.

    running (no status) ──► answered (status and body, kept for a day)

    The answer is written in the transaction of the change itself: a row that is still running has
    changed nothing, however its process ended.
    """

    token = models.ForeignKey(AccessToken, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=KEY_LONGEST)
    request_digest = models.CharField(max_length=64)
    # Rises when a write that never ended is taken up again; only the newest attempt may answer.
    attempt = models.PositiveSmallIntegerField(default=1)
    asked_at = models.DateTimeField(default=timezone.now)
    status = models.PositiveSmallIntegerField(null=True)
    headers = models.JSONField(default=dict)
    body = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["-asked_at"]
        indexes: ClassVar = [models.Index(fields=["organisation", "asked_at"], name="kept_answer_by_time")]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["token", "key"], name="one_answer_per_key"),
        ]

    def __str__(self) -> str:
        return self.key
