"""ISO 6976:2016 against the worked examples of its annex D, with their uncertainties."""

from __future__ import annotations

import pytest

from combustion.errors import OutOfRange
from combustion.fuels import FUELS, Fuel, custom_fuel, fuel
from combustion.iso6976 import COMPONENTS
from tests.combustion.published import table


def example(number: str) -> Fuel:
    rows = [r for r in table("iso6976_annex_d") if r["example"] == number]
    return custom_fuel(
        {r["component"]: float(r["fraction"]) for r in rows},
        u_composition={r["component"]: float(r["u"]) for r in rows},
    )


@pytest.mark.parametrize(
    "row",
    table("iso6976_annex_d_results"),
    ids=lambda r: f"{r['example']}-{r['reference']}-{r['property']}",
)
def test_worked_examples_of_annex_d(row):
    """Example 2's Z is 1.8e-5 off in the standard itself, and its volume with it (see the README)."""
    got = getattr(example(row["example"]).properties(row["reference"]), row["property"])
    assert got == pytest.approx(float(row["value"]), abs=float(row["tolerance"]))


def test_component_names_are_the_eighteen_of_the_interface():
    assert sorted(COMPONENTS) == sorted(
        [
            "methane",
            "ethane",
            "propane",
            "n_butane",
            "isobutane",
            "n_pentane",
            "isopentane",
            "neopentane",
            "n_hexane",
            "nitrogen",
            "carbon_dioxide",
            "oxygen",
            "hydrogen",
            "carbon_monoxide",
            "hydrogen_sulfide",
            "helium",
            "argon",
            "water",
        ]
    )


def test_a_sum_within_a_thousandth_is_scaled_to_one():
    fuel = custom_fuel({"methane": 0.9995})
    assert fuel.composition["methane"] == 1.0


@pytest.mark.parametrize(
    ("composition", "field", "code"),
    [
        ({"methane": 0.9}, "composition", "composition_sum"),
        ({"methane": 1.002}, "composition.methane", "out_of_range"),
        ({"methane": 1.2, "nitrogen": -0.2}, "composition.methane", "out_of_range"),
        ({"methane": 0.5, "unobtainium": 0.5}, "composition.unobtainium", "unknown_component"),
        ({"methane": float("nan")}, "composition.methane", "out_of_range"),
        ({"nitrogen": 1.0}, "composition", "not_a_fuel"),
        ({}, "composition", "composition_sum"),
    ],
)
def test_an_impossible_composition_is_refused_by_name(composition, field, code):
    with pytest.raises(OutOfRange) as refused:
        custom_fuel(composition)
    assert (refused.value.field, refused.value.code) == (field, code)


def test_an_unknown_reference_or_fuel_is_refused_by_name():
    with pytest.raises(OutOfRange, match="one of 15/15, 25/0, 0/0, 25/20, 60F"):
        FUELS["methane"].properties("20/20")
    with pytest.raises(OutOfRange, match="natural_gas_h2_20"):
        fuel("coal")


def test_a_negative_uncertainty_of_a_component_is_refused():
    with pytest.raises(OutOfRange, match=r"u_composition\.methane"):
        custom_fuel({"methane": 1.0}, u_composition={"methane": -0.1})
    with pytest.raises(OutOfRange, match=r"u_composition\.coal"):
        custom_fuel({"methane": 1.0}, u_composition={"coal": 0.1})


def test_the_catalogue_holds_the_eight_fuels_of_the_interface():
    assert list(FUELS) == [
        "natural_gas",
        "methane",
        "propane",
        "n_butane",
        "lpg_mix",
        "natural_gas_h2_05",
        "natural_gas_h2_10",
        "natural_gas_h2_20",
    ]
    for slug, known in FUELS.items():
        assert known.slug == slug
        assert sum(known.composition.values()) == pytest.approx(1.0, abs=1e-12)


def test_a_fuel_survives_copying_between_processes():
    import pickle

    fuel = FUELS["natural_gas"]
    again = pickle.loads(pickle.dumps(fuel))  # noqa: S301  our own bytes
    assert again == fuel
    assert again.co2_max_pct == fuel.co2_max_pct
