"""Builds rows for tests. Names are invented.

Every factory needs an organisation in scope (``scope(organisation=…)``) or scopes disabled.
"""

from datetime import date, time, timedelta
from decimal import Decimal

import factory
from django.utils import timezone

from accounts.models import Organisation, Person, RoleGrant
from accounts.roles import Role
from service.rounds.models import (
    Agreement,
    AgreementSkill,
    BarredTechnician,
    Booking,
    ChangeoverCalendar,
    DayOff,
    Frequency,
    HandDrive,
    Shift,
    Skill,
    TechnicianBase,
    TechnicianSkill,
)
from service.sites.models import Client, ClientAccess, Site, Spa
from service.stock.models import Batch, Instrument, Method, Product
from service.visits.models import Visit

PASSWORD = "correct-horse-battery"
PIN = "4826"


class OrganisationFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Organisation

    name = factory.Sequence(lambda n: f"Firm {n}")
    guideline_id = "dc_25c"


class PersonFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Person
        skip_postgeneration_save = True

    organisation = factory.SubFactory(OrganisationFactory)
    email = factory.Sequence(lambda n: f"person{n}@example.org")
    name = factory.Sequence(lambda n: f"Person {n}")

    @factory.post_generation
    def roles(person, create, roles, **_):  # noqa: N805
        person.set_password(PASSWORD)
        person.set_signing_pin(PIN)
        person.save()
        for role in roles or ():
            RoleGrant.objects.create(person=person, role=Role(role))


class ClientFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Client

    organisation = factory.SubFactory(OrganisationFactory)
    name = factory.Sequence(lambda n: f"Client {n}")


class SiteFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Site

    client = factory.SubFactory(ClientFactory)
    organisation = factory.SelfAttribute("client.organisation")
    name = factory.Sequence(lambda n: f"Site {n}")
    access_code = "4711"
    access_notes = "Side gate"


class SpaFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Spa

    site = factory.SubFactory(SiteFactory)
    organisation = factory.SelfAttribute("site.organisation")
    name = factory.Sequence(lambda n: f"Spa {n}")
    volume_l = 1250
    volume_basis = "plate"


class ClientAccessFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = ClientAccess

    client = factory.SubFactory(ClientFactory)
    organisation = factory.SelfAttribute("client.organisation")


class ProductFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Product

    organisation = factory.SubFactory(OrganisationFactory)
    name = factory.Sequence(lambda n: f"Product {n}")
    substance = "sodium_bicarbonate"
    active_fraction = Decimal("0.99")


class BatchFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Batch

    product = factory.SubFactory(ProductFactory)
    organisation = factory.SelfAttribute("product.organisation")
    code = factory.Sequence(lambda n: f"B{n:04}")
    expires_on = factory.LazyFunction(lambda: date.today() + timedelta(days=300))


class InstrumentFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Instrument

    organisation = factory.SubFactory(OrganisationFactory)
    name = factory.Sequence(lambda n: f"Photometer {n}")
    method = Method.PHOTOMETER


class VisitFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Visit

    spa = factory.SubFactory(SpaFactory)
    organisation = factory.SelfAttribute("spa.organisation")
    planned_on = factory.LazyFunction(timezone.localdate)


class SkillFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Skill

    organisation = factory.SubFactory(OrganisationFactory)
    name = factory.Sequence(lambda n: f"Skill {n}")


class AgreementFactory(factory.django.DjangoModelFactory):
    """Once a week on working days, for years. ``needs``: skills; ``barred``: technicians."""

    class Meta:
        model = Agreement
        skip_postgeneration_save = True

    spa = factory.SubFactory(SpaFactory)
    organisation = factory.SelfAttribute("spa.organisation")
    frequency = Frequency.TIMES_A_WEEK
    times_a_week = factory.LazyAttribute(lambda a: 1 if a.frequency == Frequency.TIMES_A_WEEK else None)
    every_weeks = factory.LazyAttribute(lambda a: 2 if a.frequency == Frequency.EVERY_WEEKS else None)
    minutes_on_site = 30
    starts_on = date(2020, 1, 6)

    @factory.post_generation
    def needs(agreement, create, skills, **_):  # noqa: N805
        for skill in skills or ():
            AgreementSkill.objects.create(
                organisation=agreement.organisation, agreement=agreement, skill=skill
            )

    @factory.post_generation
    def barred(agreement, create, people, **_):  # noqa: N805
        for person in people or ():
            BarredTechnician.objects.create(
                organisation=agreement.organisation, agreement=agreement, person=person
            )


class CalendarFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = ChangeoverCalendar

    site = factory.SubFactory(SiteFactory)
    organisation = factory.SelfAttribute("site.organisation")
    name = factory.Sequence(lambda n: f"Bookings {n}")


class BookingFactory(factory.django.DjangoModelFactory):
    """Give ``arrives_at`` and ``leaves_at`` as aware datetimes."""

    class Meta:
        model = Booking

    site = factory.SubFactory(SiteFactory)
    organisation = factory.SelfAttribute("site.organisation")


class ShiftFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Shift

    technician = factory.SubFactory(PersonFactory)
    organisation = factory.SelfAttribute("technician.organisation")
    weekday = 0
    opens = time(8)
    closes = time(16, 30)


class TechnicianBaseFactory(factory.django.DjangoModelFactory):
    """``can``: skills."""

    class Meta:
        model = TechnicianBase
        skip_postgeneration_save = True

    technician = factory.SubFactory(PersonFactory)
    organisation = factory.SelfAttribute("technician.organisation")
    start_name = "Yard"
    start_latitude = Decimal("56.100000")
    start_longitude = Decimal("-4.600000")

    @factory.post_generation
    def can(base, create, skills, **_):  # noqa: N805
        for skill in skills or ():
            TechnicianSkill.objects.create(organisation=base.organisation, base=base, skill=skill)


class HandDriveFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = HandDrive

    site = factory.SubFactory(SiteFactory)
    organisation = factory.SelfAttribute("site.organisation")
    minutes = 25


class DayOffFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = DayOff

    technician = factory.SubFactory(PersonFactory)
    organisation = factory.SelfAttribute("technician.organisation")
    first_day = factory.LazyFunction(date.today)
    last_day = factory.SelfAttribute("first_day")
