"""The smallest valid row of each kind."""

from datetime import UTC, date, datetime

import factory
from factory.django import DjangoModelFactory

from fleet import models as fleet
from people import models as people
from visits import models as visits


class UserFactory(DjangoModelFactory):
    class Meta:
        model = people.User

    username = factory.Sequence(lambda n: f"person{n}@tarnholt.example")
    email = factory.SelfAttribute("username")
    role = people.Role.OFFICE


class TechnicianFactory(DjangoModelFactory):
    class Meta:
        model = people.Technician

    user = factory.SubFactory(UserFactory, role=people.Role.TECHNICIAN)


class LicenceFactory(DjangoModelFactory):
    class Meta:
        model = people.Licence

    technician = factory.SubFactory(TechnicianFactory)
    scheme = "Aldermere gas register"
    number = factory.Sequence(lambda n: f"AGR {n}")
    work = people.Licence.Work.COMMISSIONING
    starts_on = date(2015, 1, 1)


class CustomerFactory(DjangoModelFactory):
    class Meta:
        model = fleet.Customer

    name = factory.Sequence(lambda n: f"Customer {n}")


class GasAreaFactory(DjangoModelFactory):
    class Meta:
        model = fleet.GasArea

    name = factory.Sequence(lambda n: f"Area {n}")


class SiteFactory(DjangoModelFactory):
    class Meta:
        model = fleet.Site

    customer = factory.SubFactory(CustomerFactory)
    name = factory.Sequence(lambda n: f"Site {n}")


class PlantFactory(DjangoModelFactory):
    class Meta:
        model = fleet.Plant

    site = factory.SubFactory(SiteFactory)
    name = factory.Sequence(lambda n: f"Plant {n}")


class ContractFactory(DjangoModelFactory):
    class Meta:
        model = fleet.Contract

    customer = factory.SubFactory(CustomerFactory)
    reference = factory.Sequence(lambda n: f"TPS-{n:04}")
    starts_on = date(2020, 1, 1)


class MakerFactory(DjangoModelFactory):
    class Meta:
        model = fleet.Maker
        django_get_or_create = ("name",)

    name = "Corvane"


class ModelFactory(DjangoModelFactory):
    class Meta:
        model = fleet.ApplianceModel

    maker = factory.SubFactory(MakerFactory)
    name = factory.Sequence(lambda n: f"CX{n}")
    input_gross_kw = 100.0
    turndown = 5.0
    control_pressure_pa = 700.0


class ModelTrimFactory(DjangoModelFactory):
    class Meta:
        model = fleet.ModelTrim

    model = factory.SubFactory(ModelFactory)
    kind = fleet.TrimKind.THROTTLE
    lowers_co2 = fleet.ModelTrim.Direction.CLOCKWISE


class FiringSpecFactory(DjangoModelFactory):
    class Meta:
        model = fleet.FiringSpec

    model = factory.SubFactory(ModelFactory)
    fuel = fleet.FuelSlug.NATURAL_GAS
    point = fleet.Point.HIGH
    target_low_co2_pct = 8.8
    target_high_co2_pct = 9.2
    source = "invented for tests"


class ApplianceFactory(DjangoModelFactory):
    class Meta:
        model = fleet.Appliance
        skip_postgeneration_save = True

    plant = factory.SubFactory(PlantFactory)
    tag = factory.Sequence(lambda n: f"B{n}")
    model = factory.SubFactory(ModelFactory)
    fuel = fleet.FuelSlug.NATURAL_GAS
    input_gross_kw = 100.0
    burner = factory.RelatedFactory("tests.factories.BurnerFactory", factory_related_name="appliance")


class BurnerFactory(DjangoModelFactory):
    class Meta:
        model = fleet.Burner

    appliance = factory.SubFactory(ApplianceFactory, burner=None)
    position = 1


class AnalyserFactory(DjangoModelFactory):
    class Meta:
        model = fleet.Analyser

    # like no tag that a test gives by hand: a counter may reach any number
    tag = factory.Sequence(lambda n: f"P4-N{n:02}")


class AnalyserPeriodFactory(DjangoModelFactory):
    class Meta:
        model = fleet.AnalyserPeriod

    analyser = factory.SubFactory(AnalyserFactory)
    starts_on = date(2026, 1, 1)
    calibration_due_on = date(2027, 1, 1)


class AttendanceFactory(DjangoModelFactory):
    class Meta:
        model = visits.Attendance

    plant = factory.SubFactory(PlantFactory)
    technician = factory.SubFactory(UserFactory, role=people.Role.TECHNICIAN)
    local_on = date(2026, 3, 2)


class VisitFactory(DjangoModelFactory):
    class Meta:
        model = visits.Visit

    uuid = factory.Faker("uuid4")
    appliance = factory.SubFactory(ApplianceFactory)
    attendance = factory.SubFactory(
        AttendanceFactory,
        plant=factory.SelfAttribute("..appliance.plant"),
        local_on=factory.SelfAttribute("..local_on"),
    )
    kind = visits.Kind.ANNUAL_SERVICE
    technician = factory.SelfAttribute("attendance.technician")
    fuel = factory.SelfAttribute("appliance.fuel")
    opened_at = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    local_on = date(2026, 3, 2)


class FiringTestFactory(DjangoModelFactory):
    class Meta:
        model = visits.FiringTest

    visit = factory.SubFactory(VisitFactory)
    key = factory.Sequence(lambda n: f"t{n}")
    burner = factory.LazyAttribute(lambda test: test.visit.appliance.burners.first())
    point = fleet.Point.HIGH
    phase = visits.Phase.AS_FOUND
    sequence = factory.Sequence(lambda n: n)
    observed_at = datetime(2026, 3, 2, 9, 10, tzinfo=UTC)
    settled = visits.FiringTest.Settled.STATED
    fuel = factory.SelfAttribute("visit.fuel")
