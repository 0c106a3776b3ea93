"""The drift pages: what is shown, what leads where, who reads it, and that files hold what is shown."""

import csv
import io
from datetime import timedelta

import pytest
import tablib
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from analytics.models import ApplianceDrift, GasShift
from fleet.models import AnalyserPeriod
from tests import factories as make
from tests.web.conftest import TODAY
from tests.web.drift_rows import a_run, cost_of, found_of
from visits.models import FiringTest
from web.selectors.drift.gas import largest_step


@pytest.fixture
def run(fleet):
    return a_run(fleet, TODAY)


def sheet(answer) -> list[dict[str, str]]:
    body = answer.getvalue() if answer.streaming else answer.content
    return list(csv.DictReader(io.StringIO(body.decode())))


def test_only_flagged_appliances_are_ranked_and_each_leads_to_its_evidence(run, fleet, page_of) -> None:
    answer = page_of(fleet.manager).get(reverse("web:wanderers"))
    rows = answer.context["page"].rows
    assert [(row.drift.appliance, row.trim.trim) for row in rows] == [(fleet.appliance, "throttle")]
    assert reverse("web:evidence", args=[fleet.appliance.pk]) in answer.text
    assert rows[0].times_usual == pytest.approx(4.1 / 0.8)
    assert rows[0].sentence.startswith(
        "Throttle trim: wanders (probability 0.97). Moved 4.1 % a year against 0.8 % for its peers; what "
        "the analyser and the district's gas explain (0.6 %) is taken off."
    )


def test_what_being_off_target_has_cost_stands_with_a_flagged_trim_and_in_the_file(
    run, fleet, page_of
) -> None:
    client = page_of(fleet.manager)
    page = client.get(reverse("web:evidence", args=[fleet.appliance.pk]))
    (story,) = [burner.past for burner in page.context["page"].burners]
    assert story.sentence in page.text
    # the run of this fleet kept nothing, as one of an earlier version
    assert "That was an earlier version's" in page.text.replace("&#x27;", "'")
    (line,) = sheet(client.get(reverse("web:wanderers"), {"as": "csv"}))
    past = story.past
    assert int(line["burner_past_intervals"]) == past.intervals > 2
    told = [float(line[f"burner_past_{name}"]) for name in ("cost_kwh", "cost_low_kwh", "cost_high_kwh")]
    reach = past.energy_kwh
    assert told == pytest.approx([reach.value, reach.low, reach.high], rel=1e-4)
    assert (line["burner_past_money"], past.money) == ("", None)
    steady = client.get(reverse("web:evidence", args=[fleet.other_appliance.pk]))
    assert [burner.past for burner in steady.context["page"].burners] == [None]


def test_filters_in_the_address_narrow_list_and_file_alike(run, fleet, page_of) -> None:
    client = page_of(fleet.manager)
    for query, tags in (
        ({"show": "all"}, ["B1", "WH-1"]),
        ({"show": "all", "customer": "hospital"}, ["WH-1"]),
        ({"gas_area": fleet.site.gas_area_id}, ["B1"]),
        ({"trim": "offset"}, []),
    ):
        shown = client.get(reverse("web:wanderers"), query).context["page"].rows
        assert [row.drift.appliance.tag for row in shown] == tags
        lines = sheet(client.get(reverse("web:wanderers"), query | {"as": "csv"}))
        assert [line["appliance"] for line in lines] == tags


def test_the_ranking_is_read_page_by_page_without_gap_or_twin(run, fleet, page_of, monkeypatch) -> None:
    monkeypatch.setattr("web.views.drift.wanderers.ROWS", 2)
    for number in range(5):
        row = make.ApplianceFactory(
            plant=fleet.appliance.plant, model=fleet.appliance.model, tag=f"W{number}"
        )
        found_of(run, row, chance=0.9, today=TODAY)
    client, seen, after = page_of(fleet.manager), [], ""
    while True:
        page = client.get(reverse("web:wanderers"), {"after": after}).context["page"]
        seen += [row.drift.appliance.tag for row in page.rows]
        after = page.after
        if not after:
            break
    assert seen == ["B1", "W0", "W1", "W2", "W3", "W4"]
    for odd in ("x", "1e999.1", "0.5.x", "nan.3", "0.9." + "9" * 30):
        assert len(client.get(reverse("web:wanderers"), {"after": odd}).context["page"].rows) == 2


def test_a_spreadsheet_holds_numbers_as_numbers(run, fleet, page_of) -> None:
    answer = page_of(fleet.manager).get(reverse("web:wanderers"), {"as": "xlsx"})
    table = tablib.Dataset().load(answer.content, format="xlsx")
    assert table["wander_probability"] == [0.97]
    assert table["appliance"] == ["B1"]
    assert page_of(fleet.manager).get(reverse("web:wanderers"), {"as": "exe"}).status_code == 404


def test_the_appliances_page_says_its_sentences_to_the_firm_and_not_to_the_contact(
    run, fleet, page_of
) -> None:
    address = reverse("web:appliance", args=[fleet.appliance.pk])
    text = page_of(fleet.technician).get(address).text
    assert "Throttle trim: wanders (probability 0.97)" in text
    assert "Offset trim: no estimate (only two visits in the trim&#x27;s present state)" in text
    assert "Probability of lying outside an acceptance limit if nobody attends" in text
    contact = page_of(fleet.contact).get(address).text
    assert "wanders" not in contact
    assert reverse("web:evidence", args=[fleet.appliance.pk]) not in contact
    assert page_of(fleet.contact).get(reverse("web:evidence", args=[fleet.appliance.pk])).status_code == 403


def test_a_period_lists_who_used_it_and_the_readings_that_its_bias_put_on_the_other_side(
    run, fleet, page_of, monkeypatch
) -> None:
    period = AnalyserPeriod.objects.get()
    type(period).objects.filter(pk=period.pk).update(bias_co2_pct=0.4, bias_weak=False)
    client, address = page_of(fleet.manager), reverse("web:analyser-period", args=[period.pk])
    page = client.get(address).context["page"]
    found = FiringTest.objects.filter(visit__analyser_period=period, phase="as_found", point="high")
    assert {row.test_id for row in page.changed} == set(
        found.filter(co2_pct=9.55).values_list("pk", flat=True)
    )
    assert page.changed[0].corrected == pytest.approx(9.15)
    assert not page.changed_more
    assert page.users[0][0] == "Technician"
    monkeypatch.setattr("web.views.drift.sources.ROWS", 1)
    cut = client.get(address)
    assert (cut.context["page"].changed, cut.context["page"].changed_more) == (page.changed[:1], True)
    assert "the file holds them all" in cut.text
    assert len(sheet(client.get(address, {"as": "csv"}))) == len(page.changed) > 1


def test_gas_shows_the_area_month_by_month_and_its_step(run, fleet, page_of) -> None:
    client = page_of(fleet.office)
    page = client.get(reverse("web:gas"), {"area": fleet.site.gas_area_id}).context["page"]
    assert [row.shift_pct for row in page.months] == [0.0] * 7 + [2.5] * 7
    assert (page.step.month.isoformat(), page.step.by_pct) == ("2024-08-01", 2.5)
    assert largest_step([(row.month, row.shift_pct) for row in page.months[:5]]) is None
    assert client.get("/drift/gas/1/2026-13/").status_code == 404
    lines = sheet(client.get(reverse("web:gas"), {"area": fleet.site.gas_area_id, "as": "csv"}))
    assert float(lines[-1]["co2_pct"]) == pytest.approx(2.5 * 0.098)


def test_a_month_of_gas_lists_the_readings_that_it_explains(run, fleet, page_of) -> None:
    test = FiringTest.objects.filter(visit__appliance=fleet.appliance, phase="as_found", co2_pct=9.55).last()
    month = test.visit.local_on.replace(day=1)
    shift, _ = GasShift.objects.update_or_create(
        run=run,
        gas_area=fleet.site.gas_area,
        month=month,
        defaults={"shift_pct": 2.0, "shift_u_pct": 0.3, "readings": 9, "weak": False},
    )
    address = reverse("web:gas-month", args=[shift.gas_area_id, month.year, month.month])
    page = page_of(fleet.office).get(address).context["page"]
    assert test.pk in {row.test_id for row in page.explained}
    assert page.explained[0].corrected == pytest.approx(9.55 - 9.55 * 1.0955 * 0.02)


def test_repeatability_is_off_until_the_firm_switches_it_on_and_a_person_sees_their_own(
    run, fleet, page_of, settings
) -> None:
    address = reverse("web:technicians")
    assert page_of(fleet.manager).get(address).status_code == 404
    settings.TECHNICIAN_REPEATABILITY = True
    other = make.UserFactory(role="technician")
    assert [row.technician for row in page_of(fleet.manager).get(address).context["rows"]] == [
        fleet.technician
    ]
    assert [row.technician for row in page_of(fleet.technician).get(address).context["rows"]] == [
        fleet.technician
    ]
    assert page_of(other).get(address).context["rows"] == []
    assert page_of(fleet.office).get(address).status_code == 403


def test_pages_say_so_where_no_run_has_been_made(fleet, page_of) -> None:
    client = page_of(fleet.manager)
    for name in ("wanderers", "models", "analysers", "gas"):
        assert "Drift has not been worked out yet." in client.get(reverse(f"web:{name}")).text
    assert client.get(reverse("web:evidence", args=[fleet.appliance.pk])).status_code == 200


def test_models_lead_to_their_ages(run, fleet, page_of) -> None:
    answer = page_of(fleet.manager).get(reverse("web:models"), {"model": fleet.appliance.model_id})
    assert [line.age_words for line in answer.context["page"].ages] == ["5 – 9"]
    assert "drifts most surely one way: −0.80 % a year" in answer.text
    assert ApplianceDrift.objects.filter(run=run, flagged=True).count() == 1
    assert (TODAY + timedelta(days=5)).isoformat() in str(
        sheet(page_of(fleet.manager).get(reverse("web:wanderers"), {"as": "csv"}))
    )
    client = page_of(fleet.manager)
    for query, shown in (
        ({"name": "cx12"}, 1),
        ({"name": "corvane", "show": "drifting"}, 1),
        ({"name": "ostrell"}, 0),
        ({"trim": "offset"}, 0),
    ):
        page = client.get(reverse("web:models"), query).context["page"]
        assert len(page.models) == shown
    kept = client.get(reverse("web:models"), {"name": "cx12", "show": "drifting"})
    assert "?trim=throttle&amp;name=cx12&amp;show=drifting&amp;model=" in kept.text


def test_costs_are_ranked_summed_and_filed_never_without_their_interval(run, fleet, page_of) -> None:
    client = page_of(fleet.manager)
    answer = client.get(reverse("web:costs"))
    page = answer.context["page"]
    assert [row.appliance.tag for row, _story in page.lines] == ["B1", "WH-1"]
    assert page.sentence.startswith("As last found, 2 burners together lose 2,500 kWh")
    assert (page.total.costing, page.total.saving) == (1, 1)
    assert "1,700 … 5,100" in answer.text
    assert "200 GBP" in answer.text
    least = client.get(reverse("web:costs"), {"show": "least"}).context["page"]
    assert [row.appliance.tag for row, _story in least.lines] == ["WH-1", "B1"]
    assert "a risk, not a gain" in least.lines[0][1].sentence
    assert not client.get(reverse("web:costs"), {"show": "unknown"}).context["page"].lines
    lines = sheet(client.get(reverse("web:costs"), {"customer": "hospital", "as": "csv"}))
    assert [(line["appliance"], float(line["money"])) for line in lines] == [("WH-1", pytest.approx(-54.0))]
    narrowed = client.get(reverse("web:costs"), {"customer": "hospital"}).context["page"]
    assert narrowed.total.energy_kwh.value == -900.0


def test_the_dearest_wanderer_comes_first_where_that_is_asked(run, fleet, page_of) -> None:
    client, asked = page_of(fleet.manager), {"show": "all", "sort": "cost"}
    page = client.get(reverse("web:wanderers"), asked).context["page"]
    assert [row.drift.cost_kwh for row in page.rows] == [3_400.0, -900.0]
    ApplianceDrift.objects.filter(appliance=fleet.appliance).update(cost_kwh=-1_000.0)
    rows = client.get(reverse("web:wanderers"), asked).context["page"].rows
    assert [row.drift.appliance.tag for row in rows] == ["WH-1", "B1"]
    (first, _second) = sheet(client.get(reverse("web:wanderers"), asked | {"as": "csv"}))
    assert float(first["appliance_cost_kwh_per_year"]) == -900.0


def test_the_appliance_and_the_fleets_condition_say_what_it_costs_and_a_contact_reads_none_of_it(
    run, fleet, page_of
) -> None:
    address = reverse("web:appliance", args=[fleet.appliance.pk])
    text = page_of(fleet.technician).get(address).text
    assert (
        "it lost about 3,400 kWh of gas a year (95 %: 1,700 to 5,100 kWh), GBP 200 (95 %: 100 to 310 GBP)"
        in text
    )
    assert "Indicative: the boiler was not shown to be thermally steady" in text
    assert "What being out of tune costs" not in page_of(fleet.contact).get(address).text
    manager = page_of(fleet.manager)
    assert "2 burners together lose" in manager.get(reverse("web:condition")).text
    (gas, _co2, money) = sheet(manager.get(reverse("web:condition"), {"as": "csv"}))
    assert (gas["unit"], float(gas["lost_a_year"]), money["unit"]) == ("kWh", 2_500.0, "GBP")


def test_a_longer_list_of_costs_asks_no_more_queries(run, fleet, page_of) -> None:
    client = page_of(fleet.manager)
    addresses = [
        reverse("web:costs"),
        reverse("web:costs") + f"?gas_area={fleet.site.gas_area_id}",
        reverse("web:wanderers") + "?show=all&sort=cost",
        reverse("web:condition"),
    ]
    few = [_queries(client, address) for address in addresses]
    for number in range(12):
        row = make.ApplianceFactory(
            plant=fleet.appliance.plant, model=fleet.appliance.model, tag=f"C{number}"
        )
        found_of(run, row, chance=0.9, today=TODAY)
        cost_of(run, row, 100.0 * number, today=TODAY)
    assert [_queries(client, address) for address in addresses] == few


def _queries(client, address: str) -> int:
    with CaptureQueriesContext(connection) as caught:
        assert client.get(address).status_code == 200
    return len(caught)
