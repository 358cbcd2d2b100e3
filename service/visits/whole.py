"""A visit with everything written down at it, in six queries."""

from django.db.models import Prefetch, prefetch_related_objects

from service.visits.models import (
    Decision,
    InspectionAnswer,
    Reading,
    Task,
    TreatmentStep,
    Visit,
    WithdrawnReading,
)


def parts_of_a_visit() -> list["Prefetch[str]"]:
    """For ``prefetch_related`` of a visit that is shown or judged as a whole. Needs the scope open."""
    readings = Reading.objects.select_related("instrument", "taken_by", "organisation")
    steps = TreatmentStep.objects.select_related("product", "batch", "decision", "done_by")
    return [
        Prefetch("readings", readings),
        Prefetch("withdrawn_readings", WithdrawnReading.objects.select_related("withdrawn_by")),
        Prefetch("steps", steps),
        Prefetch("inspection", InspectionAnswer.objects.all()),
        Prefetch("tasks", Task.objects.select_related("done_by")),
        Prefetch("decisions", Decision.objects.all()),
    ]


def gathered(visit: Visit) -> Visit:
    """The visit with its parts loaded; nothing is asked again of a visit that has them."""
    prefetch_related_objects([visit], *parts_of_a_visit())
    return visit
