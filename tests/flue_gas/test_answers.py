"""What comes back of readings: every key, what was assumed, safety first, uncertainty."""

import json

import pytest

from fleet.models import SafetyLimit
from tests.factories import UserFactory
from tests.published import co_limits

PROMISED = {
    "air_ratio", "excess_air_pct", "o2_pct", "co2_pct", "co2_max_pct", "co_air_free_ppm", "co_co2_ratio",
    "dew_point_c", "condensed_pct", "condensate_kg_per_kwh", "sensible_loss_gross_pct",
    "latent_loss_gross_pct", "efficiency_gross_pct", "efficiency_net_pct", "siegert_loss_net_pct",
    "co_mg_per_kwh_net", "nox_mg_per_kwh_net", "nox_ppm_at_3_o2", "nox_lb_per_mmbtu", "co_lb_per_mmbtu",
    "fuel_line_residual_pct",
}  # fmt: skip
GAS_KEYS = {
    "gross_mj_m3", "net_mj_m3", "gross_mj_kg", "relative_density", "density_kg_m3", "wobbe_gross_mj_m3",
    "wobbe_net_mj_m3", "stoich_air_mol_per_mol", "co2_max_pct", "fd_dscf_per_mmbtu", "fc_scf_per_mmbtu",
    "co2_kg_per_mmbtu",
}  # fmt: skip
WHOLE = {"fuel": "natural_gas", "o2_pct": 4.0, "flue_temp_c": 60.0, "air_temp_c": 20.0, "nox_ppm": 30.0}


def why(answer, name):
    assert answer[name] == {"value": None, "u": None, "why": answer[name]["why"]}
    return answer[name]["why"]


@pytest.mark.parametrize(
    "readings",
    [
        {"fuel": "methane", "o2_pct": 4.0},
        {"fuel": "propane", "co2_pct": 10.0},
        {"fuel": "methane", "o2_pct": 0.0, "co_ppm": 8000.0},
        WHOLE,
    ],
)
def test_no_key_is_ever_missing(flue_gas, readings):
    answer = flue_gas(**readings)
    assert answer.keys() >= PROMISED
    for name in PROMISED:
        given = answer[name]["value"] is not None
        assert answer[name].keys() == ({"value", "u"} if given else {"value", "u", "why"})


def test_what_cannot_be_given_says_why(flue_gas):
    answer = flue_gas(fuel="methane", o2_pct=4.0)
    assert why(answer, "efficiency_gross_pct") == "no_flue_temp"
    assert why(answer, "nox_ppm_at_3_o2") == "no_nox"
    assert why(answer, "fuel_line_residual_pct") == "one_measured_channel"
    hydrogen = flue_gas(composition={"hydrogen": 1.0}, o2_pct=4.0, flue_temp_c=90.0, air_temp_c=20.0)
    assert why(hydrogen, "siegert_loss_net_pct") == "no_published_constants"
    assert why(hydrogen, "fo") == "one_measured_channel"
    assert hydrogen["co2_max_pct"]["value"] == 0.0


def test_defaults_are_taken_and_listed(flue_gas):
    bare = flue_gas(**WHOLE)
    assert bare["assumed"] == ["co_ppm", "air_rh_pct", "pressure_hpa"]
    told = flue_gas(**WHOLE, co_ppm=0.0, air_rh_pct=0.0, pressure_hpa=1013.25)
    assert told["assumed"] == []
    assert told["dew_point_c"]["value"] == bare["dew_point_c"]["value"]
    high = flue_gas(**WHOLE, elevation_m=1524.0)
    assert high["assumed"] == ["co_ppm", "air_rh_pct", "pressure_hpa"]
    measured = flue_gas(**WHOLE, pressure_hpa=843.07, elevation_m=0.0)
    assert high["dew_point_c"]["value"] == pytest.approx(measured["dew_point_c"]["value"], abs=1e-3)


def test_no_oxygen_and_no_carbon_monoxide_is_stoichiometric_not_rich(flue_gas):
    answer = flue_gas(fuel="methane", o2_pct=0.0, flue_temp_c=120.0, air_temp_c=20.0)
    assert answer["air_ratio"]["value"] == 1.0
    assert answer["excess_air_pct"]["value"] == 0.0
    assert answer["rich"] is False
    assert answer["efficiency_gross_pct"]["value"] is not None


def test_a_rich_mixture_is_answered_as_rich_with_what_can_be_said(flue_gas):
    answer = flue_gas(fuel="methane", o2_pct=0.0, co_ppm=20000.0, flue_temp_c=120.0, air_temp_c=20.0)
    assert answer["rich"] is True
    assert answer["air_ratio"]["value"] < 1.0
    assert answer["co_co2_ratio"]["value"] > 0.1
    assert why(answer, "efficiency_gross_pct") == "rich"
    levels = [row["level"] for row in answer["safety"]]
    assert (levels[0], levels[-1]) == ("make_safe", "rich")


def test_no_oxygen_with_carbon_monoxide_beyond_any_range_is_rich_too(flue_gas):
    answer = flue_gas(fuel="methane", o2_pct=0.0, co_ppm=200_000.0, flue_temp_c=120.0, air_temp_c=20.0)
    assert answer["rich"] is True
    assert why(answer, "air_ratio") == "co_out_of_range"
    assert answer["safety"][0]["level"] == "make_safe"
    assert answer["co2_max_pct"]["value"] == pytest.approx(11.70, abs=0.01)


def test_a_derived_co2_beside_oxygen_is_ignored(flue_gas):
    alone = flue_gas(**WHOLE)
    for co2_pct in (7.0, 9.5, 90.0):
        beside = flue_gas(**WHOLE, co2_pct=co2_pct)
        assert {name: beside[name] for name in PROMISED} == {name: alone[name] for name in PROMISED}


def test_a_derived_co2_alone_is_turned_back_by_the_analysers_own_setting(flue_gas):
    right = flue_gas(fuel="propane", co2_pct=9.0)
    wrong = flue_gas(fuel="propane", co2_pct=9.0, analyser_fuel="natural_gas")
    assert right["o2_pct"]["value"] == pytest.approx(20.95 * (1.0 - 9.0 / 13.720), abs=2e-3)
    assert wrong["o2_pct"]["value"] == pytest.approx(20.95 * (1.0 - 9.0 / 11.833), abs=2e-3)
    assert right["o2_pct"]["u"] == pytest.approx(0.15, abs=1e-6)


def test_two_measured_channels_show_a_fuel_that_is_another(flue_gas):
    """Propane at 20 % excess air read as natural gas: 1.6 % CO2 off the line (COMPUTED)."""
    agree = flue_gas(**WHOLE, co2_pct=9.57, co2_source="measured")
    another = flue_gas(**WHOLE | {"o2_pct": 3.754}, co2_pct=11.261, co2_source="measured")
    assert abs(agree["fuel_line_residual_pct"]["value"]) < 0.05
    assert agree["fuel_fault_probability"]["value"] < 0.05
    assert another["fuel_line_residual_pct"]["value"] == pytest.approx(1.55, abs=0.01)
    assert another["fuel_fault_probability"]["value"] > 0.99


def test_a_declared_limit_of_error_is_read_as_twice_the_standard_uncertainty(flue_gas):
    usual = flue_gas(**WHOLE)
    better = flue_gas(**WHOLE, accuracy={"o2_pct": 0.2, "flue_temp_c": 0.5})
    assert usual["o2_pct"]["u"] == pytest.approx(0.15)
    assert better["o2_pct"]["u"] == pytest.approx(0.1)
    assert usual["accuracy"]["o2_pct"] == {"limit": 0.3, "declared": False}
    assert better["accuracy"]["o2_pct"] == {"limit": 0.2, "declared": True}
    assert better["efficiency_gross_pct"]["u"] < usual["efficiency_gross_pct"]["u"]
    exact = flue_gas(fuel="methane", o2_pct=4.0, accuracy={"o2_pct": 0.0})
    assert exact["air_ratio"]["u"] == 0.0


def test_a_limit_that_is_reached_stands_first_and_says_what_to_do(flue_gas):
    """ANSI Z21 vented appliances, 400 ppm air-free (READ as quoted): tests/published/co_limits.py."""
    answer = flue_gas(fuel="natural_gas", o2_pct=7.0, co_ppm=300.0)
    assert next(iter(answer)) == "safety"
    first = answer["safety"][0]
    assert (first["quantity"], first["level"]) == ("co_air_free_ppm", "make_safe")
    assert first["limit"] == co_limits.ANSI_VENTED_CO_AIR_FREE_PPM
    assert first["what_to_do"].startswith("Make safe")
    assert flue_gas(fuel="natural_gas", o2_pct=7.0, co_ppm=30.0)["safety"] == []
    assert "never say" in answer["caution"]


def test_the_limits_are_those_of_the_country_asked_for(flue_gas):
    british = flue_gas(fuel="natural_gas", o2_pct=0.5, co_ppm=351.0, country="GB")
    assert ("co_ppm", "make_safe") in {(row["quantity"], row["level"]) for row in british["safety"]}
    SafetyLimit.objects.filter(quantity="co_ppm", country="GB").delete()
    later = flue_gas(fuel="natural_gas", o2_pct=0.5, co_ppm=351.0, country="GB")
    assert "co_ppm" not in {row["quantity"] for row in later["safety"]}


def test_another_return_temperature_is_worth_so_much_a_year(flue_gas):
    """1 - η/η′ of the fuel (US DOE Steam Tip Sheet 4, READ) at hours and price; CO2 by the carbon balance."""
    asked = {"return_temp_change_k": -15.0, "input_gross_kw": 100.0, "full_load_hours": 2000.0}
    answer = flue_gas(**WHOLE, what_if=asked | {"price_per_kwh_gross": 0.08})
    change = answer["what_if"]
    now, then = answer["efficiency_gross_pct"]["value"], change["efficiency_gross_pct"]["value"]
    saved = 1.0 - now / then
    assert change["gain_gross_pct"]["value"] == pytest.approx(then - now)
    assert change["energy_kwh"]["value"] == pytest.approx(200_000.0 * saved)
    assert change["money"]["value"] == pytest.approx(16_000.0 * saved)
    assert change["co2_kg"]["value"] / change["energy_kwh"]["value"] == pytest.approx(0.1805, abs=1e-3)
    for name in ("gain_gross_pct", "money", "co2_kg"):
        assert change[name]["low"] < change[name]["value"] < change[name]["high"]
    doubtful = flue_gas(**WHOLE, what_if=asked | {"u_return_temp_change_k": 5.0})["what_if"]
    assert doubtful["energy_kwh"]["u"] > change["energy_kwh"]["u"]
    assert doubtful["money"]["why"] == "no_price"


def test_less_excess_air_saves_and_without_temperatures_nothing_is_said(flue_gas):
    hot = WHOLE | {"o2_pct": 8.0, "flue_temp_c": 160.0}
    change = flue_gas(**hot, what_if={"excess_air_pct": 20.0})["what_if"]
    assert change["fuel_saved_pct"]["value"] > 1.0
    assert change["energy_kwh"]["why"] == "no_input_or_hours"
    without = flue_gas(fuel="methane", o2_pct=4.0, what_if={"excess_air_pct": 20.0})["what_if"]
    assert {row["why"] for row in without.values()} == {"no_flue_temp"}


def test_a_fuel_is_told_with_the_same_keys_whichever_way_it_is_asked_for(post, api_of):
    listed = api_of(UserFactory()).get("/api/v1/fuels/natural_gas/?reference=25/0").json()
    status, posted = post("fuels/properties", {"composition": listed["composition"], "reference": "25/0"})
    assert status == 200
    assert posted.keys() == listed.keys() >= GAS_KEYS
    numbers = {name: value for name, value in listed.items() if isinstance(value, float)}
    assert numbers.keys() >= GAS_KEYS
    assert {name: posted[name] for name in numbers} == pytest.approx(numbers, rel=1e-12)


def test_a_chromatographs_rounding_is_scaled_away(post):
    parts = {"methane": 0.9004, "nitrogen": 0.1}
    status, got = post("fuels/properties", {"composition": parts})
    assert status == 200
    assert sum(got["composition"].values()) == pytest.approx(1.0, abs=1e-12)
    assert got["composition"]["methane"] == pytest.approx(0.9004 / 1.0004)


def test_a_gas_without_carbon_has_no_fuel_factor(post):
    status, got = post("fuels/properties", {"composition": {"hydrogen": 1.0}})
    assert (status, got["fo"], got["co2_kg_per_mmbtu"]) == (200, None, 0.0)


def test_a_clocked_meter_is_held_against_the_nameplate_at_its_height(post):
    """4 % per 1000 ft from sea level above 2000 ft (NFPA 54, READ as quoted): 0.84 at 4000 ft."""
    body = {"fuel": "methane", "volume_m3": 0.1, "seconds": 36.0, "nameplate_kw": 100.0,
            "elevation_m": 4000 * 0.3048, "derating_rule": "nfpa54"}  # fmt: skip
    status, got = post("gas-rate", body)
    assert status == 200
    assert got["derating"]["share"] == pytest.approx(0.84)
    assert "NFPA 54" in got["derating"]["source"]
    assert got["nameplate_share"]["value"] == pytest.approx(got["gross_kw"]["value"] / 84.0)
    assert got["assumed"] == ["meter_temp_c", "meter_gauge_mbar", "pressure_hpa"]
    net = post("gas-rate", body | {"nameplate_basis": "net"})[1]
    assert net["nameplate_share"]["value"] == pytest.approx(got["net_kw"]["value"] / 84.0)
    plain = post("gas-rate", {"fuel": "methane", "volume_m3": 0.1, "seconds": 36.0})[1]
    assert plain["nameplate_share"]["why"] == "no_nameplate"
    assert plain["gross_kw"]["value"] == pytest.approx(104.9, abs=0.05)
    assert plain["gross_kw"]["u"] / plain["gross_kw"]["value"] == pytest.approx(0.0158, abs=2e-3)


def test_nothing_is_stored(post, django_assert_num_queries):
    body = {"fuel": "methane", "o2_pct": 4.0}
    with django_assert_num_queries(1):  # the safety limits
        post("flue-gas", body)
    with django_assert_num_queries(0):
        post("gas-rate", {"fuel": "methane", "volume_m3": 0.1, "seconds": 36.0})
        post("fuels/properties", {"composition": {"methane": 1.0}})


def test_answers_are_strict_json(post):
    """Right below ambient oxygen much grows without bound: null and a reason, never Infinity or NaN."""
    _, answer = post("flue-gas", WHOLE | {"o2_pct": 20.9499999999, "co_ppm": 10.0})
    assert why(answer, "air_ratio") == "too_large"
    assert "NaN" not in json.dumps(answer)
