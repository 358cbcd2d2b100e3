from django.apps import AppConfig

from accounts.guards import Lock, lock_table, seal_table

_SIGNED = "{row}.state = 'signed'"
_UNDER_A_VISIT = (
    "InspectionAnswer",
    "Reading",
    "WithdrawnReading",
    "Decision",
    "TreatmentStep",
    "Task",
    "Photo",
)


class VisitsConfig(AppConfig):
    name = "service.visits"
    label = "visits"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        lock_table(Lock("visits.Visit", "", _SIGNED, "a signed visit cannot be changed"))
        for model in _UNDER_A_VISIT:
            lock_table(Lock(f"visits.{model}", "visit", _SIGNED, "the visit is signed"))
        seal_table("visits.Record", "a signed record cannot be changed")
        seal_table("visits.Amendment", "an amendment cannot be changed")
