"""A small fleet with something on every page, for tests of the pages and for looking at them."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from fleet import models as fleet
from people.models import Role, User
from planning.models import DueDate, FollowUp
from tests import factories as make
from visits import models as visits

PASSWORD = "boiler-room-door"
BANDS = {"high": ((8.8, 9.2), (8.5, 9.5)), "low": ((8.3, 8.7), (8.0, 9.0))}


@dataclass
class SmallFleet:
    """What the tests reach for by name."""

    office: User
    technician: User
    manager: User
    contact: User
    stranger: User
    site: fleet.Site
    appliance: fleet.Appliance
    other_appliance: fleet.Appliance
    visit: visits.Visit
    grave_visit: visits.Visit


def person(name: str, role: Role, **more: object) -> User:
    """A person who can sign in with PASSWORD."""
    user = make.UserFactory(username=f"{name}@tarnholt.example", role=role, first_name=name.title(), **more)
    user.set_password(PASSWORD)
    user.save(update_fields=["password"])
    return user


def small_fleet(today: date) -> SmallFleet:
    """Two customers, four appliances, years of visits, one of them grave."""
    office, manager = person("office", Role.OFFICE), person("manager", Role.MANAGER)
    contact, stranger = person("contact", Role.CONTACT), person("stranger", Role.CONTACT)
    technician = person("technician", Role.TECHNICIAN)
    crew = make.TechnicianFactory(user=technician)
    make.LicenceFactory(technician=crew, ends_on=today + timedelta(days=40))
    model = _model()
    area = make.GasAreaFactory(name="Aldermere north")
    customer = make.CustomerFactory(name="Aldermere Schools Trust")
    site = make.SiteFactory(
        customer=customer,
        name="Fenwick Road School",
        gas_area=area,
        elevation_m=84.0,
        address="1 Fenwick Road\nAldermere",
        access_notes="Key at reception; ring the caretaker first.",
    )
    fleet.SiteContact.objects.create(site=site, user=contact)
    plant = make.PlantFactory(site=site, name="Main boiler room", sequencing="lead_lag")
    appliance = _appliance(plant, "B1", model)
    second = _appliance(plant, "B2", model)
    other = _appliance(make.PlantFactory(site__customer__name="Brackwater Hospital"), "WH-1", model)
    contract = make.ContractFactory(customer=customer)
    contract.plants.add(plant)
    analyser = make.AnalyserFactory(tag="P4-07")
    period = make.AnalyserPeriodFactory(analyser=analyser, calibration_due_on=today + timedelta(days=21))
    for row in (appliance, second):
        for back in range(6, 0, -1):
            visit = _visit(row, today - timedelta(days=365 * back - 20), technician, analyser, period, back)
    grave = _grave_visit(other, today - timedelta(days=3), technician, analyser)
    _dates(contract, [appliance, second, other], today)
    partly = _visit(
        other, today - timedelta(days=30), technician, analyser, period, 3, outcome="no_heat_load"
    )
    FollowUp.objects.create(visit=partly, appliance=other, cause="no_heat_load")
    return SmallFleet(office, technician, manager, contact, stranger, site, appliance, other, visit, grave)


def _model() -> fleet.ApplianceModel:
    model = make.ModelFactory(name="CX120", input_gross_kw=120.0)
    make.ModelTrimFactory(model=model, location="gas valve inlet, under the cap", tool="3 mm hex")
    make.ModelTrimFactory(
        model=model, kind="offset", location="regulator cap", tool="T40", lowers_co2="anticlockwise"
    )
    for point, (target, accept) in BANDS.items():
        make.FiringSpecFactory(
            model=model,
            point=point,
            target_low_co2_pct=target[0],
            target_high_co2_pct=target[1],
            accept_low_co2_pct=accept[0],
            accept_high_co2_pct=accept[1],
            co_max_ppm=200,
            inlet_pressure_low_mbar=17,
            inlet_pressure_high_mbar=25,
            flue_temp_max_c=95,
            source="Corvane CX installer's manual, invented, page 41",
        )
    return model


def _appliance(plant: fleet.Plant, tag: str, model: fleet.ApplianceModel) -> fleet.Appliance:
    return make.ApplianceFactory(
        plant=plant,
        tag=tag,
        model=model,
        serial=f"C{plant.pk}{tag}",
        input_gross_kw=120.0,
        air_source="room",
        installed_on=date(2017, 9, 4),
    )


def _visit(appliance, day, technician, analyser, period, back, outcome="completed"):
    start = datetime(day.year, day.month, day.day, 9, 0, tzinfo=UTC)
    visit = (
        make.VisitFactory(
            appliance=appliance,
            attendance__technician=technician,
            local_on=day,
            opened_at=start,
            closed_at=start + timedelta(hours=1),
            outcome=outcome,
            analyser=analyser,
            analyser_period=period,
            health_as_found=0.34 if back % 2 else 0.91,
            health_as_found_full=True,
            health_as_found_weakest="CO2 at high fire",
            health_as_left=0.97,
            health_as_left_full=bool(back % 2),
            notes="Condensate trap cleaned.",
        )
        if not _booked(appliance, day)
        else _second_visit(appliance, day, technician, start, outcome)
    )
    found = {"high": 9.0 + (0.55 if back % 2 else 0.1), "low": 8.5 + (0.3 if back % 2 else -0.05)}
    for sequence, (point, value) in enumerate(found.items()):
        firing_test(visit, point, "as_found", value, sequence)
    if back % 2:
        for sequence, (point, value) in enumerate({"high": 9.02, "low": 8.52}.items()):
            firing_test(visit, point, "as_left", value, sequence + 2)
        visits.Adjustment.objects.create(
            visit=visit,
            key="a1",
            burner=appliance.burners.first(),
            trim="throttle",
            turns=0.25,
            at=start + timedelta(minutes=25),
            direction="clockwise",
            before_co2_pct=9.55,
            after_co2_pct=9.02,
        )
        visits.Finding.objects.create(
            visit=visit,
            appliance=appliance,
            code="found_outside_acceptance",
            subject=f"test:{visit.pk}",
            severity="advise",
            made_at=start,
            value=9.55,
            limit=9.5,
            probability=0.34,
            life="done",
            rests_on={"place": "high fire as found", "source": "maker"},
        )
    visits.TemporaryChange.objects.create(
        visit=visit,
        key="c1",
        what="heating set point",
        was="70 °C",
        set_to="85 °C",
        changed_at=start,
        put_back_at=start + timedelta(minutes=50),
    )
    return visit


def _booked(appliance: fleet.Appliance, day: date) -> bool:
    return visits.Attendance.objects.filter(plant=appliance.plant, local_on=day).exists()


def _second_visit(appliance, day, technician, start, outcome):
    attendance = visits.Attendance.objects.get(plant=appliance.plant, local_on=day)
    return make.VisitFactory(
        appliance=appliance,
        attendance=attendance,
        local_on=day,
        opened_at=start + timedelta(hours=2),
        closed_at=start + timedelta(hours=3),
        outcome=outcome,
    )


def firing_test(visit: visits.Visit, point: str, phase: str, co2: float, sequence: int) -> visits.FiringTest:
    """A firing test with a result, as the engine would store it."""
    test = make.FiringTestFactory(
        visit=visit,
        point=point,
        phase=phase,
        sequence=sequence,
        co2_pct=co2,
        o2_pct=round(20.9 * (1 - co2 / 11.8), 2),
        co_ppm=38,
        flue_temp_c=61.5,
        air_temp_c=19.0,
        inlet_pressure_mbar=20.4,
        observed_at=visit.opened_at + timedelta(minutes=10 + 5 * sequence),
    )
    target, accept = BANDS[point]
    inside = accept[0] <= co2 <= accept[1]
    visits.TestResult.objects.create(
        test=test,
        engine_version=1,
        verdict="inside" if inside else "probably_outside",
        p_inside=0.97 if inside else 0.31,
        co2_pct=co2,
        u_co2_pct=0.07,
        o2_pct=test.o2_pct,
        u_o2_pct=0.12,
        target_low_co2_pct=target[0],
        target_high_co2_pct=target[1],
        accept_low_co2_pct=accept[0],
        accept_high_co2_pct=accept[1],
        air_ratio=1.28,
        u_air_ratio=0.01,
        excess_air_pct=28.0,
        u_excess_air_pct=1.0,
        co_air_free_ppm=49,
        u_co_air_free_ppm=3,
        co_co2_ratio=0.0004,
        u_co_co2_ratio=0.00003,
        dew_point_c=54.1,
        u_dew_point_c=0.3,
        efficiency_gross_pct=88.6,
        u_efficiency_gross_pct=0.3,
        efficiency_net_pct=98.2,
        u_efficiency_net_pct=0.3,
        sensible_loss_gross_pct=2.1,
        u_sensible_loss_gross_pct=0.1,
    )
    return test


def _grave_visit(appliance, day, technician, analyser):
    start = datetime(day.year, day.month, day.day, 10, 0, tzinfo=UTC)
    visit = make.VisitFactory(
        appliance=appliance,
        attendance__technician=technician,
        local_on=day,
        opened_at=start,
        closed_at=start + timedelta(hours=1),
        outcome="left_off",
        analyser=analyser,
        uncountersigned=True,
    )
    test = firing_test(visit, "high", "as_found", 10.9, 0)
    finding = {"visit": visit, "appliance": appliance, "made_at": start}
    visits.Finding.objects.create(
        **finding,
        code="co_make_safe",
        subject=f"test:{test.key}",
        severity="make_safe",
        value=1240,
        limit=400,
        unit="ppm",
        rests_on={"place": "high fire as found", "quantity": "CO, air-free,", "source": "invented"},
    )
    visits.Finding.objects.create(
        **finding,
        code="not_put_back",
        subject="change:c1",
        severity="act",
        rests_on={"what": "lag boiler", "was": "enabled", "set_to": "held off", "reason": ""},
    )
    visits.TemporaryChange.objects.create(
        visit=visit, key="c1", what="lag boiler", was="enabled", set_to="held off", changed_at=start
    )
    fleet.Appliance.objects.filter(pk=appliance.pk).update(safety_state="isolated")
    return visit


def _dates(contract: fleet.Contract, appliances: list[fleet.Appliance], today: date) -> None:
    for row, days in zip(appliances, (-50, 10, 45), strict=True):
        due = today + timedelta(days=days)
        DueDate.objects.create(
            appliance=row,
            due_on=due,
            window_from=due - timedelta(days=30),
            window_to=due + timedelta(days=30),
            rule="from_last_done",
            contract=contract,
        )
        fleet.Appliance.objects.filter(pk=row.pk).update(next_due_on=due)
