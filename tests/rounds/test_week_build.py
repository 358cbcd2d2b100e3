"""A week is planned from what is owed, who works and the drives between, and kept as rows."""

from service.rounds.models import PlannedVisit
from tests.personas import Firm
from tests.rounds.checker import broken_rules
from tests.rounds.week_scene import (
    built,
    inputs_for,
    kept,
    owed_to,
    second_technician,
    spas_around,
    week_shifts,
)


def test_a_week_is_planned_within_every_limit_and_kept_as_it_was_planned(in_firm: Firm) -> None:
    owed = [owed_to(spa) for spa in spas_around(in_firm, 24)]
    people = in_firm.technician, second_technician(in_firm)
    inputs = inputs_for(in_firm, owed, week_shifts(*people))

    _, made = built(inputs)
    plan = kept(in_firm, inputs)

    assert broken_rules(made.problem.request, made.response) == []
    rows = list(PlannedVisit.objects.filter(plan=plan))
    assert {row.key for row in rows} == {item.key for item in owed}
    assert plan.figures["visits"] == 24
    assert plan.figures["unserved"] == 0
