"""The flue-gas page: the same numbers as over REST, in a person's own units, from the address alone."""

import json
import re

import plotly.graph_objects as go
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from analytics.figures import FuelLinePoint, fuel_line
from combustion.fuels import FUELS, custom_fuel
from people.models import Role, Units
from tests.factories import FiringSpecFactory, ModelFactory, UserFactory
from web.selectors.flue_gas import words

READ = {"fuel": "natural_gas", "o2_pct": "4.2", "flue_temp_c": "52", "air_temp_c": "18"}


@pytest.fixture
def page(db):
    """The page as a technician's browser without JavaScript sees it."""

    def ask(own_units=Units.SI, **query):
        client = Client()
        client.force_login(
            UserFactory(role=Role.TECHNICIAN, units=own_units),
            backend="django.contrib.auth.backends.ModelBackend",
        )
        answer = client.get("/flue-gas/", query)
        assert answer.status_code == 200
        return answer

    return ask


def rows_of(answer):
    """Label with unit, value, ± of every row."""
    text = answer.content.decode()
    cells = re.findall(
        r'<summary>(.*?)</summary>.*?<td class="num">(.*?)</td><td class="num">(.*?)</td>', text
    )
    return {re.sub(r"<.*?>", "", label): (value, spread) for label, value, spread in cells}


def figure_of(answer):
    found = re.search(
        r'<script id="figure-fuel-line" type="application/json">(.*?)</script>', answer.content.decode()
    )
    return json.loads(found[1]) if found else None


def test_an_empty_page_asks_for_readings_and_computes_nothing(page):
    answer = page()
    assert "Show what it means" in answer.content.decode()
    assert rows_of(answer) == {}
    assert figure_of(answer) is None


def test_the_page_says_what_the_rest_address_says(page, flue_gas):
    shown = rows_of(page(**READ))
    told = flue_gas(fuel="natural_gas", o2_pct=4.2, flue_temp_c=52.0, air_temp_c=18.0)
    ratio = told["air_ratio"]
    assert shown["Air ratio"] == (f"{ratio['value']:.3f}", f"{2 * ratio['u']:.3f}")
    net = told["efficiency_net_pct"]
    assert shown["Combustion efficiency, net %"] == (f"{net['value']:.1f}", f"{2 * net['u']:.1f}")
    assert shown["NOx at 3 % O2 ppm"][0] == "–"
    assert "needs NOx" in shown["NOx at 3 % O2 ppm"][1]


def test_us_customary_readings_give_the_same_state(page):
    si = rows_of(page(**READ))
    us = rows_of(page(Units.US, **READ | {"flue_temp_c": "125.6", "air_temp_c": "64.4"}))
    assert us["Combustion efficiency, gross %"] == si["Combustion efficiency, gross %"]
    assert us["Dew point °F"][0] == f"{float(si['Dew point °C'][0]) * 1.8 + 32:.0f}"


def test_an_address_says_the_same_to_a_person_with_other_units(page):
    mine = rows_of(page(Units.SI, **READ, units="si"))
    theirs = rows_of(page(Units.US, **READ, units="si"))
    assert mine == theirs


def test_what_is_refused_stands_beside_its_field_and_nothing_typed_is_lost(page):
    answer = page(**READ | {"o2_pct": "21.5"})
    text = answer.content.decode()
    assert "Not computed." in text
    assert 'id="id_o2_pct_error"' in text
    assert 'value="21.5"' in text
    assert rows_of(answer) == {}
    assert "not a number" not in text
    odd = page(**READ | {"flue_temp_c": "warm", "accuracy_o2_pct": "-1", "model": "999999"})
    assert {"flue_temp_c", "accuracy_o2_pct", "model"} <= set(odd.context["form"].errors)
    assert "o2_pct" in page(fuel="methane", flue_temp_c="60").context["form"].errors


def test_carbon_monoxide_over_its_limit_is_answered_first_with_make_safe(page):
    text = page(**READ, co_ppm="900").content.decode()
    assert text.index("Make safe. Leave it off.") < text.index("What the readings mean")
    assert "Make safe. Leave it off." not in page(**READ, co_ppm="20").content.decode()


def test_the_band_of_a_chosen_model_is_drawn_and_judged(page):
    model = ModelFactory()
    FiringSpecFactory(
        model=model, fuel="natural_gas", point="high", target_low_co2_pct=9.2, target_high_co2_pct=9.6,
        accept_low_co2_pct=9.0, accept_high_co2_pct=9.8,
    )  # fmt: skip
    answer = page(**READ, model=str(model.pk), point="high")
    names = {trace["name"] for trace in figure_of(answer)["data"]}
    assert {"acceptance band", "target band", "Natural gas", "the reading"} <= names
    assert "is inside 9.00 to 9.80 %" in answer.content.decode()
    low = page(**READ, model=str(model.pk), point="low")
    assert "No CO2 band of its own" in low.content.decode()


def test_a_change_and_the_meter_are_answered_with_their_intervals(page):
    change = {"return_temp_change_k": "-10", "input_gross_kw": "300", "full_load_hours": "1800"}
    meter = {"volume_m3": "0.2", "seconds": "25", "nameplate_kw": "300"}
    text = page(**READ, **change, **meter).content.decode()
    assert "What the change would do" in text
    assert re.search(r"Gas saved a year.*?<td class=\"num\">\d+</td><td class=\"num\">\d+ … \d+</td>", text)
    assert "of the nameplate." in text


def test_a_warmer_return_in_fahrenheit_is_a_difference_not_a_temperature(page):
    si = page(**READ, return_temp_change_k="-10")
    us = page(Units.US, **READ | {"flue_temp_c": "125.6", "air_temp_c": "64.4"}, return_temp_change_k="-18")
    assert si.context["page"].change[1].text == us.context["page"].change[1].text != "–"


def test_the_number_of_queries_does_not_grow_with_the_models(page):
    counts = []
    for more in (1, 20):
        model = [ModelFactory() for _ in range(more)][-1]
        with CaptureQueriesContext(connection) as asked:
            page(**READ, model=str(model.pk))
        counts.append(len(asked))
    assert counts[0] == counts[1]


@pytest.mark.parametrize("both", [True, False])
def test_the_figure_is_one_that_plotly_takes(both):
    points = [
        FuelLinePoint("found", 4.2, 9.4, 0.15, 0.15, both_measured=both),
        FuelLinePoint("left", 4.8, 9.1, 0.15, 0.08, as_left=True, low_fire=True),
    ]
    figure = fuel_line(
        points,
        FUELS["natural_gas"],
        words=words(),
        target_co2_pct=(8.8, 9.2),
        accept_co2_pct=(8.5, 9.5),
        beside=[FUELS["propane"]],
    )
    drawn = go.Figure(json.loads(re.sub(r"var\(--[a-z-]+\)", "#123456", json.dumps(figure))))
    line = next(trace for trace in drawn.data if trace.name == "Natural gas")
    assert line.y[0] == pytest.approx(11.833, abs=1e-3)
    region = next(trace for trace in drawn.data if trace.name == "± 2 standard uncertainties")
    assert max(region.x) - min(region.x) == pytest.approx(0.6, abs=1e-3)
    assert max(region.y) - min(region.y) == pytest.approx(0.6, abs=1e-2)
    area = sum(x * (region.y[i] - region.y[i - 1]) for i, x in enumerate(region.x))
    assert (abs(area) > 0.2) == both


def test_without_a_point_or_without_carbon_there_is_no_figure():
    point = FuelLinePoint("found", 4.2, 9.4, 0.15, 0.15)
    assert fuel_line([], FUELS["methane"], words=words()) is None
    assert fuel_line([point], custom_fuel({"hydrogen": 1.0}), words=words()) is None
