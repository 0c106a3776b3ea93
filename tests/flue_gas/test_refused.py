"""Bad input: which field, which value, which limit; and never a failure of the server."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from combustion.fuels import FUELS
from combustion.iso6976 import COMPONENTS

GAS = {"fuel": "methane"}
METHANE = {"composition": {"methane": 1.0}}
READ = GAS | {"o2_pct": 4.0, "flue_temp_c": 60.0, "air_temp_c": 20.0}


@pytest.mark.parametrize(
    ("changes", "field", "code", "value"),
    [
        ({"o2_pct": 20.95}, "/o2_pct", "o2_above_ambient", 20.95),
        ({"o2_pct": 21.0}, "/o2_pct", "o2_above_ambient", 21.0),
        ({"o2_pct": -0.1}, "/o2_pct", "o2_negative", -0.1),
        ({"o2_pct": None}, "/o2_pct", "no_o2_or_co2", None),
        ({"o2_pct": None, "co2_pct": 12.0}, "/co2_pct", "co2_above_max", 12.0),
        ({"o2_pct": None, "co2_pct": 0.0}, "/co2_pct", "no_co2", 0.0),
        ({"co2_pct": 3.0, "co2_source": "measured"}, "/co2_pct", "inconsistent_o2_co2", 3.0),
        ({"co2_pct": -1.0}, "/co2_pct", "co2_negative", -1.0),
        ({"co_ppm": -1.0}, "/co_ppm", "co_out_of_range", -1.0),
        ({"co_ppm": 200_000.0}, "/co_ppm", "co_out_of_range", 200_000.0),
        ({"nox_ppm": 200_000.0}, "/nox_ppm", "nox_out_of_range", 200_000.0),
        ({"flue_temp_c": 900.0}, "/flue_temp_c", "flue_temp_out_of_range", 900.0),
        ({"flue_temp_c": -60.0}, "/flue_temp_c", "flue_temp_out_of_range", -60.0),
        ({"air_temp_c": 90.0}, "/air_temp_c", "air_temp_out_of_range", 90.0),
        ({"air_rh_pct": 101.0}, "/air_rh_pct", "air_rh_out_of_range", 101.0),
        ({"pressure_hpa": 400.0}, "/pressure_hpa", "pressure_out_of_range", 400.0),
        ({"elevation_m": 9000.0}, "/elevation_m", "out_of_range", 9000.0),
        ({"fuel": "peat"}, "/fuel", "unknown_fuel", "peat"),
        ({"fuel": None}, "/fuel", "required", None),
        ({"composition": {"methane": 1.0}}, "/fuel", "one_of_two", "methane"),
        ({"fuel": None, "composition": {"methane": 0.9}}, "/composition", "composition_sum", 0.9),
        ({"fuel": None, "composition": {"methane": 0.9989}}, "/composition", "composition_sum", 0.9989),
        ({"fuel": None, "composition": {}}, "/composition", "composition_sum", 0.0),
        ({"fuel": None, "composition": {"peat": 1.0}}, "/composition/peat", "unknown_component", 1.0),
        ({"fuel": None, "composition": {"methane": -0.1}}, "/composition/methane", "out_of_range", -0.1),
        ({"fuel": None, "composition": {"nitrogen": 1.0}}, "/composition", "not_a_fuel", 1.0),
        ({"analyser_fuel": "peat"}, "/analyser_fuel", "unknown_fuel", "peat"),
        ({"co2_source": "guessed"}, "/co2_source", "unknown_value", "guessed"),
        ({"o2_pct": "4"}, "/o2_pct", "float_type", "4"),
        ({"o2_pct": True}, "/o2_pct", "float_type", True),
        ({"o2": 4.0}, "/o2", "unknown_member", 4.0),
        ({"accuracy": {"o2_pct": -0.1}}, "/accuracy/o2_pct", "out_of_range", -0.1),
        ({"accuracy": {"tint": 1.0}}, "/accuracy/tint", "unknown_member", 1.0),
        ({"what_if": {}}, "/what_if/return_temp_change_k", "required", None),
        (
            {"what_if": {"return_temp_change_k": 700.0}},
            "/what_if/return_temp_change_k",
            "flue_temp_out_of_range",
            760.0,
        ),
        ({"what_if": {"excess_air_pct": -1.0}}, "/what_if/excess_air_pct", "out_of_range", -1.0),
        (
            {"what_if": {"excess_air_pct": 9.0, "input_gross_kw": -1.0, "full_load_hours": 1.0}},
            "/what_if/input_gross_kw",
            "out_of_range",
            -1.0,
        ),
    ],
)
def test_a_reading_that_cannot_be_is_refused_by_name_value_and_limit(refused, changes, field, code, value):
    row = refused("flue-gas", READ | changes)
    assert (row["field"], row["code"], row["value"]) == (field, code, value)
    assert row["limit"] is not None


@pytest.mark.parametrize(
    ("changes", "field", "code"),
    [
        ({"volume_m3": 0.0}, "/volume_m3", "out_of_range"),
        ({"volume_m3": None}, "/volume_m3", "float_type"),
        ({"seconds": -3.0}, "/seconds", "out_of_range"),
        ({"meter_temp_c": 80.0}, "/meter_temp_c", "out_of_range"),
        ({"meter_gauge_mbar": -1.0}, "/meter_gauge_mbar", "out_of_range"),
        ({"nameplate_kw": 0.0}, "/nameplate_kw", "out_of_range"),
        ({"derating_rule": "nfpa54"}, "/elevation_m", "required"),
        ({"derating_rule": "canada", "elevation_m": 3000.0}, "/elevation_m", "out_of_range"),
        ({"derating_rule": "thumb"}, "/derating_rule", "unknown_value"),
        ({"gross_mj_m3": 900.0}, "/gross_mj_m3", "out_of_range"),
    ],
)
def test_a_clocked_meter_that_cannot_be_is_refused(refused, changes, field, code):
    row = refused("gas-rate", GAS | {"volume_m3": 0.1, "seconds": 36.0} | changes)
    assert (row["field"], row["code"]) == (field, code)
    assert row["limit"] is not None


@pytest.mark.parametrize(
    ("body", "field", "code"),
    [
        ({}, "/composition", "required"),
        ({"composition": {"methane": 0.5, "nitrogen": 0.4}}, "/composition", "composition_sum"),
        (METHANE | {"reference": "10/10"}, "/reference", "unknown_value"),
        (METHANE | {"u_composition": {"peat": 0.1}}, "/u_composition/peat", "unknown_component"),
        (METHANE | {"u_composition": {"methane": -0.1}}, "/u_composition/methane", "out_of_range"),
        ({"composition": {"nitrogen": 1.0, "methane": 1e-9}}, "/composition", "not_a_fuel"),
    ],
)
def test_a_composition_that_cannot_be_is_refused(refused, body, field, code):
    row = refused("fuels/properties", body)
    assert (row["field"], row["code"]) == (field, code)
    assert row["limit"] is not None


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999", "1e6"])
def test_a_number_that_is_none_is_refused(post, number):
    status, problem = post("flue-gas", f'{{"fuel": "methane", "o2_pct": {number}}}')
    assert status == 400
    assert problem["errors"][0]["field"] == "/o2_pct"


def test_a_body_that_is_not_json_is_refused(post):
    status, problem = post("flue-gas", "o2=4")
    assert (status, problem["code"]) == (400, "not_json")
    status, problem = post("flue-gas", "[]")
    assert (status, problem["code"]) == (400, "invalid")


def test_every_refused_field_is_told_at_once(post):
    status, problem = post("flue-gas", {"fuel": 3, "o2_pct": "much", "co_ppm": "little"})
    assert status == 400
    assert {row["field"] for row in problem["errors"]} == {"/fuel", "/o2_pct", "/co_ppm"}


ordinary = st.floats(-50.0, 800.0) | st.floats(allow_nan=False) | st.integers(-5, 2000)
odd = st.none() | st.booleans() | st.text(max_size=5) | st.just([]) | st.just({})
number = ordinary | odd
READINGS = ("o2_pct", "co2_pct", "co_ppm", "nox_ppm", "flue_temp_c", "air_temp_c", "air_rh_pct",
            "pressure_hpa", "elevation_m")  # fmt: skip
CHANGES = ("return_temp_change_k", "u_return_temp_change_k", "excess_air_pct", "input_gross_kw",
           "full_load_hours", "u_full_load_hours", "price_per_kwh_gross")  # fmt: skip
METER = ("volume_m3", "seconds", "meter_temp_c", "meter_gauge_mbar", "pressure_hpa", "elevation_m",
         "gross_mj_m3", "nameplate_kw")  # fmt: skip


def some_of(names, values=number):
    return st.fixed_dictionaries({}, optional=dict.fromkeys(names, values))


@st.composite
def compositions(draw):
    """Mostly whole compositions, of anything that a supplier or a slip may report."""
    names = draw(st.lists(st.sampled_from(COMPONENTS), min_size=1, max_size=6, unique=True))
    parts = [draw(st.floats(0.0, 1.0)) for _ in names]
    total = sum(parts) or 1.0
    return {name: part / total for name, part in zip(names, parts, strict=True)}


gas = st.one_of(
    st.sampled_from([{"fuel": slug} for slug in FUELS]),
    st.builds(lambda composition: {"composition": composition}, compositions()),
    some_of(("fuel", "composition"), odd),
)
accuracy = some_of(READINGS[:-1])


def never_fails(post, address, body):
    status, answer = post(address, json.dumps(body))
    assert status in (200, 400), answer
    assert not {"NaN", "Infinity"} & set(json.dumps(answer).replace(",", " ").split())
    for row in answer.get("errors", ()):
        assert row["field"].startswith("/") or row["field"] == ""
        assert row["code"]
        assert row["detail"]


any_input = settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@any_input
@given(gas, some_of(READINGS), some_of(("accuracy",), accuracy), some_of(("what_if",), some_of(CHANGES)),
       some_of(("co2_source",), st.sampled_from(["measured", "derived"])))  # fmt: skip
def test_no_readings_bring_the_server_down(post, gas, readings, accuracy, what_if, source):
    never_fails(post, "flue-gas", gas | readings | accuracy | what_if | source)


plausible = st.fixed_dictionaries(
    {
        "o2_pct": st.floats(0.0, 20.94),
        "co_ppm": st.floats(0.0, 90_000.0),
        "nox_ppm": st.floats(0.0, 500.0),
        "flue_temp_c": st.floats(-40.0, 700.0),
        "air_temp_c": st.floats(-40.0, 80.0),
        "air_rh_pct": st.floats(0.0, 100.0),
        "pressure_hpa": st.floats(500.0, 1100.0),
    }
)


@any_input
@given(st.sampled_from(list(FUELS)), plausible, st.floats(-30.0, 30.0))
def test_readings_within_the_limits_are_answered_and_rich_ones_too(post, slug, readings, change_k):
    status, answer = post("flue-gas", {"fuel": slug, **readings})
    assert status == 200, answer
    losses = ("sensible_loss_gross_pct", "latent_loss_gross_pct", "unburnt_loss_gross_pct")
    if answer["efficiency_gross_pct"]["value"] is None:
        assert answer["rich"] or answer["efficiency_gross_pct"]["why"] in ("too_large", "not_computable")
    else:
        total = answer["efficiency_gross_pct"]["value"] + sum(answer[name]["value"] for name in losses)
        assert total == pytest.approx(100.0, abs=1e-6)
    never_fails(post, "flue-gas", {"fuel": slug, **readings, "what_if": {"return_temp_change_k": change_k}})


@any_input
@given(gas, some_of(METER), some_of(("derating_rule",), st.sampled_from(["nfpa54", "canada"])))
def test_no_clocked_meter_brings_the_server_down(post, gas, meter, rule):
    never_fails(post, "gas-rate", gas | meter | rule)


@any_input
@given(compositions(), st.sampled_from(["15/15", "25/0", "0/0", "25/20", "60F", "9/9"]))
def test_no_composition_brings_the_server_down(post, composition, reference):
    never_fails(post, "fuels/properties", {"composition": composition, "reference": reference})
