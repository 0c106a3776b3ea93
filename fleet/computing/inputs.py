"""What may be asked of the computing addresses, in SI; every member and every limit is named when refused."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from combustion.altitude import DERATING_RULES
from combustion.errors import OutOfRange
from combustion.fuels import Fuel, custom_fuel, fuel
from combustion.iso6976 import REFERENCES
from common.parsing import Measured, PlainText, invalid, refusal, short_value
from common.problems import field_error, pointer

Limit = Annotated[float, Field(ge=0.0, lt=1e6, allow_inf_nan=False)]
Slug = Annotated[PlainText, Field(max_length=40)]
Composition = Annotated[
    dict[str, Measured],
    Field(max_length=30, description="Mole fractions by component, summing to 1 within 0.001, then scaled."),
]


class _Asked(BaseModel):
    """A member that nobody knows is refused: on an address that computes it can only be a slip."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class OfFuel(_Asked):
    """A gas: one of `fuel` and `composition`."""

    fuel: Slug | None = Field(None, description="A slug of GET fuels/.")
    composition: Composition | None = None

    def gas(self) -> Fuel:
        """The fuel asked about. Raises Problem `invalid` where there is none, two, or one that cannot be."""
        if (self.fuel is None) == (self.composition is None):
            code = "required" if self.fuel is None else "one_of_two"
            detail = "Say the gas once: a fuel's slug, or a composition."
            raise invalid(
                [field_error("/fuel", code, detail, value=self.fuel, limit="fuel or composition, not both")]
            )
        with refused():
            return fuel(self.fuel) if self.fuel is not None else custom_fuel(self.composition or {})


class Accuracy(_Asked):
    """Declared limit of error per channel, in the channel's unit, read as an expanded uncertainty (k = 2).

    A channel left out has that of a class EN 50379 analyser at its reading.
    """

    o2_pct: Limit | None = None
    co2_pct: Limit | None = None
    co_ppm: Limit | None = None
    nox_ppm: Limit | None = None
    flue_temp_c: Limit | None = None
    air_temp_c: Limit | None = None
    air_rh_pct: Limit | None = None
    pressure_hpa: Limit | None = None


class WhatIf(_Asked):
    """Another return temperature, another excess air, or both; and what a year would be worth."""

    return_temp_change_k: Measured | None = Field(
        None, description="Negative is colder. The flue temperature is taken to follow kelvin for kelvin."
    )
    u_return_temp_change_k: Limit = Field(0.0, description="Standard uncertainty of that.")
    excess_air_pct: Measured | None = None
    input_gross_kw: Measured | None = None
    full_load_hours: Measured | None = Field(None, description="Hours a year at that input.")
    u_full_load_hours: Limit = 0.0
    price_per_kwh_gross: Measured | None = Field(None, description="In any currency.")


class FlueGasIn(OfFuel):
    """Readings of one burner at one moment. Dry gases, vol % and ppm; what is left out is in `assumed`."""

    o2_pct: Measured | None = None
    co2_pct: Measured | None = None
    co2_source: Literal["measured", "derived"] = Field(
        "derived", description="Derived: worked out by the analyser from O2, and ignored where O2 is given."
    )
    analyser_fuel: Slug | None = Field(
        None, description="The fuel an analyser was set to when it derived CO2; else the gas itself."
    )
    co_ppm: Measured | None = None
    nox_ppm: Measured | None = Field(None, description="Counted as NO2.")
    flue_temp_c: Measured | None = None
    air_temp_c: Measured | None = Field(None, description="At the burner's air inlet.")
    air_rh_pct: Measured | None = None
    pressure_hpa: Measured | None = Field(None, description="Absolute, at the site.")
    elevation_m: Measured | None = Field(None, description="Gives the pressure where none was measured.")
    accuracy: Accuracy = Accuracy()
    country: Annotated[PlainText, Field(max_length=2)] = Field(
        "", description="ISO 3166-1: whose safety limits; empty, the general ones."
    )
    what_if: WhatIf | None = None


class GasRateAccuracy(_Asked):
    """Declared limit of error per figure, in its unit, read as an expanded uncertainty (k = 2)."""

    volume_m3: Limit | None = None
    seconds: Limit | None = None
    meter_temp_c: Limit | None = None
    meter_gauge_mbar: Limit | None = None
    pressure_hpa: Limit | None = None
    gross_mj_m3: Limit | None = None


class GasRateIn(OfFuel):
    """A clocked gas meter: only the burner tested may run."""

    volume_m3: Measured
    seconds: Measured
    meter_temp_c: Measured | None = None
    meter_gauge_mbar: Measured | None = None
    pressure_hpa: Measured | None = None
    elevation_m: Measured | None = Field(
        None, description="Gives the pressure where none was measured; needed for a derating rule."
    )
    gross_mj_m3: Measured | None = Field(
        None, description="The supplier's gross heating value at 15/15 °C, else the composition's."
    )
    nameplate_kw: Measured | None = None
    nameplate_basis: Literal["gross", "net"] = "gross"
    derating_rule: Literal[tuple(DERATING_RULES)] | None = None  # type: ignore[valid-type]
    accuracy: GasRateAccuracy = GasRateAccuracy()


class PropertiesIn(_Asked):
    """A composition, and the combustion and metering temperature its volumes and heat are told at."""

    composition: Composition
    u_composition: Annotated[dict[str, Limit], Field(max_length=30)] = Field(
        {}, description="Standard uncertainties of the mole fractions."
    )
    reference: Literal[tuple(REFERENCES)] = "15/15"  # type: ignore[valid-type]


T = TypeVar("T", bound=BaseModel)


def parsed(shape: type[T], raw: bytes) -> T:
    """A JSON body in this shape. Raises Problem `invalid` with every refused field, or `not_json`."""
    try:
        return shape.model_validate_json(raw)
    except ValidationError as error:
        raise refusal(error) from error


def checked(shape: type[T], values: Mapping[str, Any]) -> T:
    """Values in this shape. Raises Problem `invalid` with every refused field."""
    try:
        return shape.model_validate(dict(values))
    except ValidationError as error:
        raise refusal(error) from error


@contextmanager
def refused(*under: str, names: Mapping[str, str] | None = None) -> Iterator[None]:
    """What the science refuses becomes Problem `invalid`, its field under these members of the body.

    names: members of the body by the name the science has for them.
    """
    try:
        yield
    except OutOfRange as error:
        name = (names or {}).get(error.field, error.field)
        row = field_error(
            pointer([*under, *name.split(".", 1)]),
            error.code,
            str(error),
            value=_given(error.value),
            limit=error.limit,
        )
        raise invalid([row]) from error


def _given(value: float | str) -> Any:
    return None if isinstance(value, float) and value != value else short_value(value)
