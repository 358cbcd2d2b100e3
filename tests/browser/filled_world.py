"""The world of the isolation table with so much in it that no page is empty."""

from datetime import timedelta

from django.core.files.base import ContentFile
from django.utils import timezone
from django_scopes import scope

from service.visits.models import Verdict, Visit
from tests.factories import BatchFactory
from tests.isolation.world import World, make_world
from tests.personas import Firm
from tests.reports.signed_visits import GOOD, drawn_signature, picture, signed_visit
from tests.visits.working import SUBSTANCES, decided, fresh, inspect, product, read

CLOUDED = {**GOOD, "free_chlorine_mg_l": "1.2", "total_chlorine_mg_l": "1.6", "ph": "8.1"}
NOTE = "A little cloudy after the weekend; the cover's strap is torn.\nCall before the next guests."


def filled_world(name: str) -> World:
    """``make_world`` with details at the gate, products, signed visits and an open one under way."""
    world = make_world(name)
    firm = world.firm
    with scope(organisation=firm.organisation):
        _describe(firm, world)
        for substance in SUBSTANCES:
            BatchFactory(product=product(firm, substance))
        _weeks(firm)
        _under_way(firm, world.seen["visit"])
        for shown in (world.seen["photo"], world.seen["spa_photo"]):
            shown.file.save("photo.jpg", ContentFile(picture()), save=False)
            shown.save()
    return world


def _describe(firm: Firm, world: World) -> None:
    site = firm.site
    site.address = "12 Millrace Lane\nUpper Alderbrook"
    site.parking, site.breaker, site.tap = (
        "On the verge, not the drive",
        "Left of the pump house",
        "By the back door",
    )
    site.contact_name, site.contact_phone = "The caretaker", "01632 960 001"
    site.save()
    organisation = firm.organisation
    organisation.phone, organisation.email = "01632 960 000", "hello@example.org"
    organisation.save()


def _weeks(firm: Firm) -> None:
    now = timezone.now().replace(microsecond=0)
    for number, days in enumerate((21, 14, 7, 3)):
        signed_visit(
            firm,
            at=now - timedelta(days=days),
            before={**CLOUDED, "ph": f"{7.9 + number / 10:.1f}"},
            after=GOOD,
            doses=[
                {
                    "product": f"Acid salt {days}",
                    "substance": "sodium_bisulfate",
                    "planned": "35",
                    "actual": "40",
                    "purpose": "lower pH",
                    "reason": "Jug was full",
                }
            ],
            tasks=[{"kind": "filter_rinse"}],
            no={"cover": "The strap is torn"},
            photos=[{"caption": "Strap of the cover"}] if number == 3 else [],
            verdict=Verdict.FIT_FROM,
            owner_signature=drawn_signature() if number == 3 else b"",
            note_to_owner=NOTE,
        )


def _under_way(firm: Firm, visit: Visit) -> None:
    """The open visit: looked at, tested, decided; the chemistry has steps to do."""
    Visit.objects.filter(pk=visit.pk).update(
        started_at=timezone.now() - timedelta(minutes=20),
        instructions="Bring the long brush.",
        window_from="09:00",
        window_to="11:30",
    )
    decided(firm, read(firm, inspect(firm, fresh(visit), cover="The strap is torn"), CLOUDED))
