"""Reading visits: one whole, the list of many, and who sees them."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import SiteContact
from tests.factories import UserFactory, VisitFactory
from tests.visits.bodies import closed, visit_body

pytestmark = pytest.mark.django_db


def test_visit_reads_as_it_was_answered(scene):
    answer = scene.put(closed(visit_body(scene.appliance, scene.analyser))).json()
    now = scene.get()
    for name, value in answer.items():
        if name not in ("save_no", "ignored"):
            assert now[name] == value, name


def test_list_is_newest_first_in_pages_without_a_total(scene):
    opened = [f"2026-03-{day:02}T09:00:00Z" for day in range(1, 8)]
    for number, moment in enumerate(opened):
        scene.put(
            visit_body(scene.appliance, scene.analyser, opened_at=moment),
            uuid=f"00000000-0000-7000-8000-{number:012}",
        )
    seen, address = [], "/api/v1/visits/?page_size=3"
    while address:
        page = scene.api.get(address).json()
        assert set(page) == {"next", "results"}
        assert len(page["results"]) <= 3
        seen += [row["uuid"] for row in page["results"]]
        address = page["next"]
    assert seen == [f"00000000-0000-7000-8000-{number:012}" for number in reversed(range(7))]


def test_list_takes_the_same_queries_for_two_visits_as_for_forty(scene):
    counts = []
    scene.api.get("/api/v1/visits/")  # notes the first use of the token
    for more in (2, 38):
        VisitFactory.create_batch(more)
        with CaptureQueriesContext(connection) as queries:
            assert scene.api.get("/api/v1/visits/").status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_imported_visit_without_a_record_of_its_own_can_be_read(scene):
    visit = VisitFactory(source="import", closed_at="2026-03-02T10:00:00Z", outcome="completed")
    answer = scene.api.get(f"/api/v1/visits/{visit.uuid}/")
    assert answer.status_code == 200
    assert answer.json()["closed"] is True


def test_imported_visit_is_closed_to_saves(scene):
    visit = VisitFactory(source="import", closed_at="2026-03-02T10:00:00Z", outcome="completed")
    answer = scene.put(visit_body(scene.appliance, scene.analyser), uuid=str(visit.uuid))
    assert answer.status_code in (403, 409)
    assert answer["Content-Type"] == "application/problem+json"


def test_unknown_visit_is_404(scene):
    answer = scene.api.get(scene.address)
    assert answer.status_code == 404
    assert answer["Content-Type"] == "application/problem+json"


def test_contact_sees_the_visits_of_their_sites_and_writes_none(scene, api_of):
    body = visit_body(scene.appliance, scene.analyser)
    scene.put(body)
    linked, stranger = UserFactory(role="contact"), UserFactory(role="contact")
    SiteContact.objects.create(site=scene.appliance.plant.site, user=linked)
    theirs, others = api_of(linked), api_of(stranger)
    assert theirs.get(scene.address).status_code == 200
    assert len(theirs.get("/api/v1/visits/").json()["results"]) == 1
    assert scene.put({**body, "save_no": 2}, api=theirs).status_code == 403
    assert others.get(scene.address).status_code == 404
    assert others.get("/api/v1/visits/").json()["results"] == []
    assert scene.put({**body, "save_no": 2}, api=others).status_code in (403, 404)
    assert scene.visit.revision == 1


@pytest.mark.parametrize("role", ["office", "manager", "administrator"])
def test_office_reads_and_may_write_everything(scene, api_of, role):
    body = visit_body(scene.appliance, scene.analyser)
    scene.put(body)
    desk = api_of(UserFactory(role=role))
    assert desk.get(scene.address).status_code == 200
    assert scene.put({**body, "notes": "from the desk"}, api=desk).status_code == 200
    assert scene.visit.technician == scene.technician


def test_a_word_that_the_list_does_not_know_is_refused_and_not_left_out(scene):
    answer = scene.api.get("/api/v1/visits/?appliance=T001-B1")
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, "/appliance")
