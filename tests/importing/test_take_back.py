"""An import is taken back as long as nothing depends on it; otherwise it is said what does."""

import pytest
from django.core.exceptions import ValidationError
from django_scopes import scope

from accounts.access import NotAllowed
from accounts.models import AuditEvent
from service.importing.models import ListImport, ListState
from service.importing.take_back import take_back, undoing_of
from service.sites.models import Client, Site, Spa
from service.sites.register import change_client, change_spa
from service.visits.models import ImportedReading
from tests.factories import SiteFactory, VisitFactory
from tests.importing.listing import fresh, workbook, written
from tests.personas import Firm


@pytest.fixture
def everything(in_firm: Firm) -> ListImport:
    """One client changed, one of each kind added."""
    change_client(client=in_firm.client, by=in_firm.office, reference="C1", phone="123")
    data = workbook(
        {
            "Clients": [
                ["reference", "name", "phone"],
                ["C1", in_firm.client.name, "456"],
                ["C7", "New", ""],
            ],
            "Sites": [["client_reference", "reference", "name"], ["C7", "S7", "New site"]],
            "Spas": [["site_reference", "reference", "name", "volume_l"], ["S7", "T7", "Tub", 900]],
            "Past readings": [["spa_reference", "taken_at", "ph"], ["T7", "2025-06-14 10:30", 7.4]],
        }
    )
    return written(in_firm, "all", data)


def test_what_was_added_goes_and_what_was_changed_is_set_back(in_firm: Firm, everything: ListImport) -> None:
    undoing = undoing_of(everything)
    assert undoing.removes == {"Clients": 1, "Sites": 1, "Spas": 1, "Past readings": 1}
    assert (undoing.sets_back, undoing.reasons) == ({"Clients": 1}, [])

    take_back(listing=everything, by=in_firm.office)

    assert not Client.objects.filter(reference="C7").exists()
    assert not Site.objects.filter(reference="S7").exists()
    assert not Spa.objects.filter(reference="T7").exists()
    assert not ImportedReading.objects.exists()
    assert Client.objects.get(reference="C1").phone == "123"
    assert fresh(everything).state == ListState.TAKEN_BACK
    assert AuditEvent.objects.filter(action="list.taken_back").count() == 1
    with pytest.raises(ValidationError, match="only once"):
        take_back(listing=everything, by=in_firm.office)


def test_a_visit_at_a_spa_that_came_with_it_keeps_it(in_firm: Firm, everything: ListImport) -> None:
    VisitFactory(spa=Spa.objects.get(reference="T7"), technician=in_firm.technician)

    with pytest.raises(ValidationError, match=r"Spa Tub \(row 2\) has 1 visit"):
        take_back(listing=everything, by=in_firm.office)

    assert Client.objects.filter(reference="C7").exists()
    assert Client.objects.get(reference="C1").phone == "456"


def test_a_site_added_by_hand_below_a_client_that_came_with_it_keeps_it(
    in_firm: Firm, everything: ListImport
) -> None:
    SiteFactory(client=Client.objects.get(reference="C7"))

    assert undoing_of(everything).reasons == ["Client New (row 3) has 1 site."]


def test_what_was_changed_since_keeps_it(in_firm: Firm, everything: ListImport) -> None:
    change_client(client=in_firm.client, by=in_firm.office, phone="789")
    change_spa(spa=Spa.objects.get(reference="T7"), by=in_firm.office, volume_l=950)
    ImportedReading.objects.update(typed="7.5", value="7.5")

    assert undoing_of(everything).reasons == [
        f"Client {in_firm.client.name} (row 2) was changed since: phone.",
        "Spa Tub (row 2) was changed since: volume_l.",
        "Readings of Tub, row 2, were changed since.",
    ]


def test_a_later_list_is_taken_back_first(in_firm: Firm, everything: ListImport) -> None:
    later = written(in_firm, "reading", "spa_reference,taken_at,ph\nT7,2025-06-15 10:30,7.2\n")
    assert undoing_of(everything).reasons == ["Spa Tub (row 2) has 1 imported reading."]

    take_back(listing=later, by=in_firm.office)
    take_back(listing=everything, by=in_firm.office)

    assert not Spa.objects.filter(reference="T7").exists()


def test_only_those_who_may_import_take_back(in_firm: Firm, everything: ListImport) -> None:
    with pytest.raises(NotAllowed):
        take_back(listing=everything, by=in_firm.technician)


def test_another_firms_list_is_not_reached(everything: ListImport, stranger: Firm) -> None:
    with scope(organisation=stranger.organisation), pytest.raises(ListImport.DoesNotExist):
        take_back(listing=everything, by=stranger.office)
