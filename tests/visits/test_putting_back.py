"""What to put back is suggested by model, sequencing and season: a person confirms rather than types."""

from datetime import date

import pytest

from fleet.models import PutBackSuggestion
from fleet.putting_back import Facts, changes_suggested, season_on
from fleet.reference import PUTTING_BACK, put_back_ship, reference_read
from tests.factories import ApplianceFactory
from tests.visits.bodies import closed, finding, visit_body
from visits.putting_back import suggestions
from visits.remedies import findings_settle

ROWS = [
    PutBackSuggestion(**{"source": "no source", "mark": "practice", **row})
    for row in reference_read(PUTTING_BACK)["suggestion"]
]


def of(rows=ROWS, **facts):
    given = {"model_id": 7, "kind": "boiler", "sequencing": "stand_alone", "season": "heating", "unit": "B1"}
    return {change.key: change for change in changes_suggested(rows, Facts(**given | facts))}


def test_a_lone_boiler_in_winter() -> None:
    """After a test set point and weather compensation go back (common practice, no source)."""
    assert list(of()) == [
        "suggested:remote_enable",
        "suggested:heating_set_point",
        "suggested:weather_compensation",
        "suggested:forced_rate",
    ]


def test_in_a_cascade_the_others_are_held_off_one_by_one_and_the_sequencer_is_in_manual() -> None:
    found = of(sequencing="lead_lag", other_units=["B2", "B3"])
    assert {"suggested:sequencer", "suggested:lag_enabled"} <= found.keys()
    held = [change for change in found.values() if change.code == "held_off"]
    assert [(change.unit, change.what) for change in held] == [("B2", "B2: held off"), ("B3", "B3: held off")]


def test_summer_is_another_matter_than_winter() -> None:
    winter, summer = of(), of(season="summer")
    assert "shut-down" in summer["suggested:weather_compensation"].what
    assert "shut-down" not in winter["suggested:weather_compensation"].what
    assert "suggested:dump_load" in summer.keys() - winter.keys()


def test_a_water_heater_has_a_store_and_no_weather() -> None:
    found = of(kind="water_heater")
    assert "suggested:store_set_point" in found
    assert {"suggested:heating_set_point", "suggested:weather_compensation"}.isdisjoint(found)


def test_a_models_own_row_wins_and_may_leave_one_out() -> None:
    common = {"model_id": 7, "source": "the maker", "mark": "maker"}
    own = [
        PutBackSuggestion(code="forced_rate", what="Parameter 24", set_to="high", **common),
        PutBackSuggestion(code="remote_enable", what="x", set_to="x", suggested=False, **common),
    ]
    found = of([*own, *ROWS])
    assert found["suggested:forced_rate"].what == "Parameter 24"
    assert "suggested:remote_enable" not in found
    assert of([*own, *ROWS], model_id=8).keys() == of().keys()


@pytest.mark.parametrize(
    ("day", "latitude", "season"),
    [
        (date(2026, 1, 15), 52.0, "heating"),
        (date(2026, 7, 15), None, "summer"),
        (date(2026, 7, 15), -37.0, "heating"),
        (date(2026, 1, 15), -37.0, "summer"),
        (date(2026, 4, 30), 52.0, "heating"),
        (date(2026, 5, 1), 52.0, "summer"),
        (date(2026, 10, 1), -37.0, "heating"),
        (date(2026, 11, 1), -37.0, "summer"),
    ],
)
def test_the_seasons_are_turned_round_below_the_equator(day, latitude, season) -> None:
    assert season_on(day, latitude) == season


@pytest.mark.django_db
def test_a_device_confirms_what_was_noted_the_year_before(scene, django_assert_num_queries) -> None:
    assert put_back_ship(PUTTING_BACK, PutBackSuggestion) == 0
    plant = scene.appliance.plant
    plant.sequencing = "lead_lag"
    plant.save()
    ApplianceFactory(plant=plant, tag="B2")
    ApplianceFactory(plant=plant, tag="B3", safety_state="left_off")
    changes = [{"key": "c", "what": "Sequencer", "was": "automatic", "put_back_at": "2026-03-02T10:00:00Z"}]
    scene.put(closed(visit_body(scene.appliance), temporary_changes=changes))
    with django_assert_num_queries(3):
        rows = {row["key"]: row for row in suggestions(scene.appliance, date(2027, 3, 1))}
    assert rows["suggested:sequencer"]["was"] == "automatic"
    assert [row["unit"] for row in rows.values() if row["code"] == "held_off"] == ["B2"]
    answer = scene.api.get(f"/api/v1/appliances/{scene.appliance.uuid}/put-back-suggestions/?on=2026-07-01")
    assert "Weather compensation, summer shut-down" in {row["what"] for row in answer.json()["suggestions"]}


@pytest.mark.django_db
def test_what_was_not_put_back_stays_until_a_person_ends_it(scene) -> None:
    left = [{"key": "c", "what": "Sequencer", "was": "automatic", "set_to": "manual"}]
    first = scene.put(closed(visit_body(scene.appliance), temporary_changes=left)).json()
    assert finding(first, "put_back_reason_missing", "change:c")["severity"] == "advise"
    visit = scene.visit
    later = {"opened_at": "2026-05-04T09:00:00Z", "closed_at": "2026-05-04T10:00:00Z", "tests": []}
    other = "00000000-0000-7000-8000-00000000abcd"
    assert scene.put(closed(visit_body(scene.appliance)) | later, uuid=other).status_code == 201
    assert findings_settle(scene.appliance.pk) > 0
    lives = dict(visit.findings.values_list("code", "life"))
    assert (lives["not_put_back"], lives["put_back_reason_missing"]) == ("open", "done")
