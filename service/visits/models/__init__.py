"""Visits and everything that is written down at one: readings, steps, tasks, photos, closures.

A visit is one spa. A *stop* is not a row: it is the visits of one person at one site on one day.
A signed visit, and every row under it, is frozen by code and by database trigger (``apps.py``);
what has to be corrected afterwards is an ``Amendment``.
"""

from service.visits.models.imported import ImportedReading
from service.visits.models.record import Amendment, PersonalDatum, Record
from service.visits.models.safety import Closure, Consent, Defect, Severity, WhoPays
from service.visits.models.visit import (
    ENDED_WITHOUT_SIGNING,
    OPEN_STATES,
    Verdict,
    Visit,
    VisitKind,
    VisitState,
)
from service.visits.models.water import (
    Answer,
    Bound,
    Decision,
    InspectionAnswer,
    Moment,
    Reading,
    StepState,
    TreatmentStep,
    WithdrawnReading,
)
from service.visits.models.work import Draft, Photo, Task, TaskKind, TaskState, visit_photo_path

__all__ = [
    "ENDED_WITHOUT_SIGNING",
    "OPEN_STATES",
    "Amendment",
    "Answer",
    "Bound",
    "Closure",
    "Consent",
    "Decision",
    "Defect",
    "Draft",
    "ImportedReading",
    "InspectionAnswer",
    "Moment",
    "PersonalDatum",
    "Photo",
    "Reading",
    "Record",
    "Severity",
    "StepState",
    "Task",
    "TaskKind",
    "TaskState",
    "TreatmentStep",
    "Verdict",
    "Visit",
    "VisitKind",
    "VisitState",
    "WhoPays",
    "WithdrawnReading",
    "visit_photo_path",
]
