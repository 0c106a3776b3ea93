"""The day's bundle: everything a device needs with no signal, once each, small, and not sent twice."""

import gzip
import json
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from common.conditional import names_any, takes_gzip
from common.telling import teller
from fleet.models import Appliance, ModelTrim, Plant, SuppliedGas, TurnSensitivity
from people.models import Role
from planning.bundle.analysers import MOST_ANALYSERS
from planning.bundle.reading import bundle_of
from planning.bundle.serializers import DaySerializer
from planning.bundle.telling import bundle_members
from tests.factories import (
    AnalyserFactory,
    AnalyserPeriodFactory,
    ApplianceFactory,
    AttendanceFactory,
    BurnerFactory,
    FiringSpecFactory,
    FiringTestFactory,
    ModelFactory,
    ModelTrimFactory,
    PlantFactory,
    UserFactory,
    VisitFactory,
)
from tests.planning.test_api import DAY, seen
from visits.measured import MEASURED_FIELDS
from visits.models import Adjustment, Finding, Phase, TestResult, Visit
from visits.putting_back import suggestions

pytestmark = pytest.mark.django_db
ADDRESS = f"/api/v1/day/?date={DAY}"


@pytest.fixture
def technician():
    return UserFactory(role=Role.TECHNICIAN)


@pytest.fixture
def api(api_of, technician):
    return api_of(technician)


def booked(technician, position, plant=None, **values):
    plant = plant or PlantFactory(access_notes="key at the porter's", site__access_notes="ring first")
    return AttendanceFactory(technician=technician, plant=plant, position=position, local_on=DAY, **values)


def model_on_file(**values):
    model = ModelFactory(**values)
    for kind in ("throttle", "offset"):
        sensitivity(ModelTrimFactory(model=model, kind=kind, location="under the seal", tool="4 mm key"))
    for point in ("high", "low"):
        FiringSpecFactory(model=model, point=point)
    return model


def sensitivity(trim: ModelTrim):
    return TurnSensitivity.objects.create(
        trim=trim,
        effect=-0.04,
        effect_low=-0.05,
        effect_high=-0.03,
        effect_u=0.005,
        spread=0.006,
        scatter=0.004,
        moves=40,
        burners=12,
        set_aside=1,
        learnt_at=timezone.now(),
    )


def full_stop(technician, position, model, analyser=None):
    """A stop with one boiler that has a past: four whole tests, two moves, three findings."""
    stop = booked(technician, position)
    appliance = ApplianceFactory(plant=stop.plant, model=model)
    last = seen(appliance, date(2025, 3, 1), analyser=analyser, technician=technician)
    for number, (phase, point) in enumerate(
        (phase, point) for phase in (Phase.AS_FOUND, Phase.AS_LEFT) for point in ("high", "low")
    ):
        values = {name: 8.0 + number + place / 7 for place, name in enumerate(MEASURED_FIELDS)}
        test = FiringTestFactory(visit=last, phase=phase, point=point, **values)
        TestResult.objects.create(test=test, engine_version=1, verdict="inside", p_inside=0.96)
    for key in "ab":
        Adjustment.objects.create(
            visit=last, key=key, burner=appliance.burners.get(), trim="throttle", direction="clockwise"
        )
    for code in ("calibration_lapsed", "licence_lapsed", "not_put_back"):
        Finding.objects.create(
            visit=last, appliance=appliance, code=code, severity="act", made_at=timezone.now()
        )
    VisitFactory(appliance=appliance, attendance=stop, local_on=DAY)
    SuppliedGas.objects.create(
        site=stop.plant.site,
        fuel="natural_gas",
        from_on=date(2020, 1, 1),
        composition={"methane": 0.9, "ethane": 0.1},
        source="invented",
    )
    return stop, appliance, last


def test_a_technicians_day_holds_all_that_is_needed_in_order(api, technician):
    analyser = AnalyserPeriodFactory().analyser
    AnalyserPeriodFactory(analyser=analyser, starts_on=date(2099, 1, 1), calibration_due_on=None)
    model = model_on_file()
    second = booked(technician, 2)
    first, appliance, last = full_stop(technician, 1, model, analyser)
    booked(technician, 3, cancelled_at=datetime(2026, 3, 1, tzinfo=UTC))
    booked(UserFactory(role=Role.TECHNICIAN), 1)
    AttendanceFactory(technician=technician, local_on=DAY + timedelta(days=1))
    ApplianceFactory(plant=first.plant, retired_on=date(2020, 1, 1))
    BurnerFactory(appliance=appliance, position=2)
    seen(appliance, date(2024, 3, 1))
    Finding.objects.filter(code="licence_lapsed").update(life="done")

    body = api.get(ADDRESS).json()

    assert [row["uuid"] for row in body["attendances"]] == [str(first.uuid), str(second.uuid)]
    plants = {row["id"]: row for row in body["plants"]}
    plant = plants[body["attendances"][0]["plant"]]
    assert (plant["access_notes"], plant["site_access_notes"]) == ("key at the porter's", "ring first")
    (told,) = body["appliances"]
    assert (told["uuid"], told["plant_id"], len(told["burners"])) == (str(appliance.uuid), plant["id"], 2)
    assert told["last"]["uuid"] == str(last.uuid)
    assert len(told["last"]["tests"]) == 4
    assert len(told["last"]["adjustments"]) == 2
    assert {row["code"] for row in told["findings"]} == {"calibration_lapsed", "not_put_back"}
    assert set(body["finding_kinds"]) == {"calibration_lapsed", "not_put_back"}
    (known,) = body["models"]
    assert (known["id"], known["trims"][0]["trim"]) == (told["model_id"], "throttle")
    assert known["trims"][0]["sensitivity"]["effect"] == -0.04
    assert known["firing_specs"][0]["point"] == "high"
    (gas,) = body["gases"]
    assert plant["gases"] == {"natural_gas": gas["id"]}
    assert gas["composition"]["ethane"] == pytest.approx(0.1)
    assert {row["slug"] for row in body["fuels"]} >= {"natural_gas", "propane"}
    (instrument,) = [row for row in body["analysers"] if row["uuid"] == str(analyser.uuid)]
    assert (instrument["uuid"], instrument["period"]["starts_on"]) == (str(analyser.uuid), "2026-01-01")
    (limits,) = body["limits"]
    assert plant["limits"] == limits["id"]
    assert {row["level"] for row in limits["rows"]} == {"investigate", "make_safe"}
    assert told["put_back"] == suggestions(Appliance.objects.with_place().get(pk=appliance.pk), DAY) != []
    lists = {row["id"]: row["items"] for row in body["item_lists"]}
    asked = lists[told["item_lists"]["annual_service"]]
    assert len(asked) > 20
    assert all(str(number) in body["items"] for number in asked)
    assert [row["uuid"] for row in body["attendances"][0]["visits"]] == [
        str(Visit.objects.get(attendance=first).uuid)
    ]


def test_the_day_is_told_as_its_serialiser_describes_it(technician):
    full_stop(technician, 1, model_on_file(), AnalyserPeriodFactory().analyser)
    ApplianceFactory(plant=booked(technician, 2).plant, model=ModelTrimFactory().model)
    AnalyserFactory(tag="none has begun")
    members = bundle_members(bundle_of(technician, DAY))
    described = DaySerializer(members).data
    assert teller(DaySerializer())(members) == described
    assert None in [row["period"] for row in described["analysers"]]
    assert None in [trim["sensitivity"] for row in described["models"] for trim in row["trims"]]


def test_a_new_technician_is_told_the_analysers_that_the_firm_has_in_use(api, api_of, technician):
    _free, carried, mine = (AnalyserPeriodFactory(analyser__tag=tag).analyser for tag in ("P9", "P1", "P5"))
    AnalyserPeriodFactory(analyser=mine, starts_on=None, calibration_due_on=None)
    AnalyserFactory(tag="P2", retired_on=date(2026, 1, 1))
    seen(ApplianceFactory(), DAY, analyser=carried, technician=UserFactory(role=Role.TECHNICIAN))
    tags = [row["tag"] for row in api.get(ADDRESS).json()["analysers"]]
    assert tags == ["P5", "P9", "P1"]
    seen(ApplianceFactory(), DAY, analyser=mine, technician=technician)
    seen(ApplianceFactory(), DAY, analyser=carried, technician=technician)
    rows = api.get(ADDRESS).json()["analysers"]
    assert [row["tag"] for row in rows] == ["P1", "P5", "P9"]
    assert {row["period"]["starts_on"] for row in rows} == {"2026-01-01"}
    for number in range(MOST_ANALYSERS):
        AnalyserFactory(tag=f"A{number}")
    tags = [row["tag"] for row in api.get(ADDRESS).json()["analysers"]]
    assert (tags[:2], len(tags)) == (["P1", "P5"], MOST_ANALYSERS)
    newcomer = api_of(UserFactory(role=Role.TECHNICIAN)).get(ADDRESS).json()["analysers"]
    assert not {"P1", "P5"} & {row["tag"] for row in newcomer}


def test_the_page_of_the_day_asks_as_often_of_two_stops_as_of_one(technician, client):
    client.force_login(technician)
    counts = []
    for position in (1, 2):
        full_stop(technician, position, model_on_file())
        with CaptureQueriesContext(connection) as asked:
            page = client.get("/my-day/", {"on": DAY})
        assert page.status_code == 200
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_an_appliance_never_seen_has_no_last_visit(api, technician):
    ApplianceFactory(plant=booked(technician, 1).plant)
    (told,) = api.get(ADDRESS).json()["appliances"]
    assert (told["last"], told["findings"]) == (None, [])


def test_the_office_names_whose_day_it_asks_for(api_of, technician):
    office = api_of(UserFactory())
    booked(technician, 1)
    body = office.get("/api/v1/day/", {"date": DAY, "technician": technician.username}).json()
    assert (body["technician"], len(body["attendances"])) == (technician.username, 1)
    for query in ({}, {"technician": "nobody"}, {"technician": UserFactory().username}):
        refused = office.get("/api/v1/day/", query)
        assert (refused.status_code, refused.json()["errors"][0]["field"]) == (400, "/technician")


def test_a_technician_may_not_ask_for_a_colleagues_day(api, technician):
    colleague = UserFactory(role=Role.TECHNICIAN)
    assert api.get("/api/v1/day/", {"technician": colleague.username}).status_code == 403
    assert api.get("/api/v1/day/", {"technician": technician.username}).status_code == 200


def test_twenty_stops_ask_what_two_ask_of_the_database_and_fit_into_200_kb(api, technician):
    """Token; attendances with places, their visits, appliances, burners, last visits, their tests, results,
    models, trims, specs; moves, limits, gases, items, put-back suggestions, what was noted last, findings,
    latest visits, analysers, their channels and periods."""
    api.get("/api/v1/fuels/")
    counts = []
    for more in (2, 18):
        for position in range(more):
            full_stop(technician, position, model_on_file(), AnalyserPeriodFactory().analyser)
        with CaptureQueriesContext(connection) as asked:
            answer = api.get(ADDRESS, headers={"Accept-Encoding": "gzip"})
        counts.append(len(asked))
    assert counts == [22, 22]
    assert answer["Content-Encoding"] == "gzip"
    assert len(json.loads(gzip.decompress(answer.content))["appliances"]) == 20
    assert len(answer.content) < 200_000


def test_what_the_device_holds_is_not_sent_again_until_something_changes(api, technician):
    plant = booked(technician, 1).plant
    plain = api.get(ADDRESS)
    packed = api.get(ADDRESS, headers={"Accept-Encoding": "br;q=1, gzip;q=0.5"})
    assert (plain["ETag"][0], packed["ETag"][0]) == ('"', '"')
    assert plain["ETag"] != packed["ETag"]
    assert gzip.decompress(packed.content) == plain.content
    for held in (plain["ETag"], packed["ETag"], f'"other", W/{plain["ETag"]}', "*"):
        answer = api.get(ADDRESS, headers={"If-None-Match": held})
        assert (answer.status_code, answer.content) == (304, b"")
        assert answer["ETag"] == plain["ETag"]
        assert "private" in answer["Cache-Control"]
        assert {"Accept-Encoding", "Authorization"} <= set(answer["Vary"].split(", "))
    assert api.get(ADDRESS, headers={"If-None-Match": '"other"'}).status_code == 200
    Plant.objects.filter(pk=plant.pk).update(access_notes="the porter has moved")
    changed = api.get(ADDRESS, headers={"If-None-Match": plain["ETag"]})
    assert changed.status_code == 200
    assert changed["ETag"] != plain["ETag"]


@pytest.mark.parametrize(
    ("header", "takes"),
    [
        ("", False),
        ("gzip", True),
        ("GZIP;q=0.2, br", True),
        ("gzip;q=0", False),
        ("*", True),
        ("*;q=0", False),
        ("gzip;q=0, *", False),
        ("identity", False),
        ("gzip;q=rubbish", False),
        ("x-gzip", True),
    ],
)
def test_gzip_is_sent_to_whoever_takes_it(header, takes):
    assert takes_gzip(header) is takes


def test_entity_tags_are_compared_weakly_and_whole():
    assert names_any('"a", W/"b"', {'"b"'})
    assert not names_any('"ab"', {'"b"'})
    assert not names_any("", {'"b"'})
