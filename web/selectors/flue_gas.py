"""What the flue-gas page shows of an answer: rows that say what they mean, a sentence, the figure."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _

from analytics.figures import Figure, FuelLinePoint, fuel_line
from combustion.acceptance import inside_probability, verdict
from combustion.fuels import FUELS
from common.problems import Problem
from fleet.computing.flue_gas import Computed, flue_gas_answer, flue_gas_compute
from fleet.computing.gas_rate import gas_rate_answer
from fleet.models import ApplianceModel, FiringSpec, Point
from fleet.selectors import LimitKey
from fleet.units import MEASURES
from visits.models import FiringTest, Phase, TestResult
from web.forms.flue_gas import FlueGasForm
from web.meanings import GROUPS, METER_ROWS, WHY, YEAR_ROWS
from web.selectors.appliance import result_of


@dataclass(frozen=True)
class Row:
    """One number as it is read: label, unit, value, ± twice its standard uncertainty, what it means."""

    label: str | Promise
    unit: str
    text: str
    spread: str
    meaning: str | Promise
    why: str | Promise = ""


@dataclass(frozen=True)
class FlueGasPage:
    """What the template draws. groups: heading and rows.   band: the firing spec drawn, if any."""

    form: FlueGasForm
    answer: dict[str, Any] | None = None
    sentences: list[str] = field(default_factory=list)
    groups: list[tuple[str | Promise, list[Row]]] = field(default_factory=list)
    change: list[Row] = field(default_factory=list)
    meter: list[Row] = field(default_factory=list)
    meter_sentence: str = ""
    figure: Figure | None = None
    band: FiringSpec | None = None
    band_missing: bool = False


def flue_gas_page(form: FlueGasForm, limits: Mapping[LimitKey, Any]) -> FlueGasPage:
    """The page of a form as the address filled it; what was refused stands beside its field."""
    if not form.is_bound or not form.is_valid():
        return FlueGasPage(form)
    answer = rate = computed = None
    try:
        asked, clocked = form.flue_gas(), form.gas_rate()
        if asked is not None:
            computed = flue_gas_compute(asked)
            answer = flue_gas_answer(computed, limits)
        if clocked is not None:
            rate = gas_rate_answer(clocked)
    except Problem as problem:
        form.add_problem(problem)
        return FlueGasPage(form)
    if answer is None and rate is None:
        form.add_error("o2_pct", _("Enter O2 or CO2, or clock the meter."))
        return FlueGasPage(form)
    return _shown(form, answer, rate, computed)


def _shown(
    form: FlueGasForm,
    answer: dict[str, Any] | None,
    rate: dict[str, Any] | None,
    computed: Computed | None,
) -> FlueGasPage:
    units, band = form.shown_in, _band_of(form)
    meter: dict[str, Any] = {}
    if rate is not None:
        meter["meter"] = [_row(name, rate[name], meaning, units) for name, meaning in METER_ROWS]
        meter["meter_sentence"] = _meter_sentence(rate)
    if answer is None or computed is None:
        return FlueGasPage(form, band=band, **meter)
    return FlueGasPage(
        form=form,
        answer=answer,
        sentences=list(_sentences(answer, band, units)),
        groups=[
            (title, [_row(name, answer[name], meaning, units) for name, meaning in rows])
            for title, rows in GROUPS
        ],
        change=list(_change_rows(answer["what_if"], units)),
        figure=_figure(computed, answer, band),
        band=band,
        band_missing=form.cleaned_data["model"] is not None and _accept(band) is None,
        **meter,
    )


def visit_fuel_line(tests: Sequence[FiringTest], fuel: str, *, several_burners: bool) -> Figure | None:
    """A visit's judged tests as found and as left on the line of its fuel; its bands stand elsewhere."""
    points: list[FuelLinePoint] = []
    for test in tests:
        result = result_of(test)
        shown = test.phase in (Phase.AS_FOUND, Phase.AS_LEFT) and not test.withdrawn_reason
        if result is not None and shown and test.fuel == fuel:
            points += _point_of(test, result, f"{test.burner}: {test}" if several_burners else str(test))
    return fuel_line(points, FUELS[fuel], words=words())


def words() -> dict[str, str]:
    """The figure's words in the reader's language."""
    return {
        "axis_o2": _("O2, dry, vol %"),
        "axis_co2": _("CO2, dry, vol %"),
        "region": _("± 2 standard uncertainties"),
        "air_ratio": _("air ratio"),
        "target": _("target band"),
        "accept": _("acceptance band"),
    }


def _point_of(test: FiringTest, result: TestResult, name: str) -> Iterator[FuelLinePoint]:
    o2, co2, u_o2, u_co2 = result.o2_pct, result.co2_pct, result.u_o2_pct, result.u_co2_pct
    if o2 is None or co2 is None or u_o2 is None or u_co2 is None:
        return
    as_left, low_fire = test.phase == Phase.AS_LEFT, test.point == Point.LOW
    yield FuelLinePoint(name, o2, co2, u_o2, u_co2, as_left=as_left, low_fire=low_fire)


def _band_of(form: FlueGasForm) -> FiringSpec | None:
    model: ApplianceModel | None = form.cleaned_data["model"]
    if model is None:
        return None
    fuel, point = form.cleaned_data["fuel"], form.cleaned_data["point"] or "high"
    return (
        FiringSpec.objects.filter(model=model, fuel=fuel, point=point).select_related("model__maker").first()
    )


def _accept(band: FiringSpec | None) -> tuple[float, float] | None:
    """The maker's acceptance band, else target ± 0.3 % CO2 (common practice, no source)."""
    if band is None:
        return None
    if band.accept_low_co2_pct is not None and band.accept_high_co2_pct is not None:
        return band.accept_low_co2_pct, band.accept_high_co2_pct
    target = _target(band)
    return None if target is None else (target[0] - 0.3, target[1] + 0.3)


def _target(band: FiringSpec | None) -> tuple[float, float] | None:
    if band is None or band.target_low_co2_pct is None or band.target_high_co2_pct is None:
        return None
    return band.target_low_co2_pct, band.target_high_co2_pct


def _row(name: str, quantity: Mapping[str, Any], meaning: str | Promise, units: str) -> Row:
    measure = MEASURES[name]
    if quantity["value"] is None:
        why = WHY.get(quantity["why"], quantity["why"].replace("_", " "))
        return Row(measure.label, measure.unit(units), "–", "", meaning, why)
    spread = measure.spread_text(2.0 * quantity["u"], units)
    return Row(measure.label, measure.unit(units), measure.text(quantity["value"], units), spread, meaning)


def _sentences(answer: Mapping[str, Any], band: FiringSpec | None, units: str) -> Iterator[str]:
    ratio = answer["air_ratio"]
    if answer["rich"]:
        yield _(
            "Rich: less air than the gas needs. The air ratio is an upper bound, as hydrogen is not seen."
        )
    elif ratio["value"] is not None:
        yield _("%(excess)s %% more air than the gas needs (air ratio %(ratio).3f ± %(spread).3f).") % {
            "excess": MEASURES["excess_air_pct"].text(answer["excess_air_pct"]["value"], units),
            "ratio": ratio["value"],
            "spread": 2.0 * ratio["u"],
        }
    efficiency = answer["efficiency_gross_pct"]
    if efficiency["value"] is not None:
        condensing = answer["condensed_pct"]["value"] > 0.0
        yield _("Of the gross heat %(kept).1f ± %(spread).1f %% is kept; the flue gas %(word)s.") % {
            "kept": efficiency["value"],
            "spread": 2.0 * efficiency["u"],
            "word": _("condenses") if condensing else _("leaves above its dew point"),
        }
    accept, co2 = _accept(band), answer["co2_pct"]
    if accept is not None and co2["value"] is not None:
        chance = float(inside_probability(co2["value"], co2["u"], *accept))
        text = _(
            "CO2 %(co2).2f ± %(spread).2f %% is %(word)s %(low).2f to %(high).2f %% (inside: %(p).0f %%)."
        )
        yield text % {
            "co2": co2["value"],
            "spread": 2.0 * co2["u"],
            "word": _band_word(chance),
            "low": accept[0],
            "high": accept[1],
            "p": 100.0 * chance,
        }
    fault = answer["fuel_fault_probability"]["value"]
    if fault is not None:
        if fault < 0.5:
            yield _(
                "O2 and CO2 fit this fuel (probability of another fuel or a wrong channel %(p).0f %%)."
            ) % {"p": 100.0 * fault}
        else:
            yield _(
                "O2 and CO2 do not fit this fuel: another gas, or a channel that is off (%(p).0f %%)."
            ) % {"p": 100.0 * fault}


def _band_word(chance: float) -> str:
    return {
        "inside": _("inside"),
        "probably inside": _("probably inside"),
        "probably outside": _("probably outside"),
        "outside": _("outside"),
    }[str(verdict(chance))]


def _change_rows(change: Mapping[str, Any] | None, units: str) -> Iterator[Row]:
    if change is None:
        return
    for name, label, unit, decimals in YEAR_ROWS:
        yield _interval_row(change[name], label, unit, lambda value, d=decimals: f"{value:.{d}f}")
    for name in ("energy_kwh", "co2_kg"):
        measure = MEASURES[name]
        yield _interval_row(
            change[name], measure.label, measure.unit(units), lambda value, m=measure: m.text(value, units)
        )
    yield _interval_row(
        change["money"], _("Money saved a year"), _("as the price"), lambda value: f"{value:.0f}"
    )


def _interval_row(quantity: Mapping[str, Any], label: str | Promise, unit: str, write: Any) -> Row:
    if quantity["value"] is None:
        return Row(label, unit, "–", "", "", WHY.get(quantity["why"], quantity["why"].replace("_", " ")))
    low, value, high = (write(quantity[end]).replace("-", "−") for end in ("low", "value", "high"))
    return Row(label, unit, value, f"{low} … {high}", "")


def _meter_sentence(rate: Mapping[str, Any]) -> str:
    share = rate["nameplate_share"]
    if share["value"] is None:
        return ""
    parts = {"share": 100.0 * share["value"], "spread": 200.0 * share["u"]}
    if rate["derating"] is None:
        return _("%(share).1f ± %(spread).1f %% of the nameplate.") % parts
    parts |= {"left": 100.0 * rate["derating"]["share"], "source": rate["derating"]["source"]}
    text = _("%(share).1f ± %(spread).1f %% of the %(left).1f %% that the height leaves (%(source)s).")
    return text % parts


def _figure(computed: Computed, answer: Mapping[str, Any], band: FiringSpec | None) -> Figure | None:
    asked = computed.asked
    both = asked.o2_pct is not None and asked.co2_pct is not None and asked.co2_source == "measured"
    if both and asked.o2_pct is not None and asked.co2_pct is not None:
        u = {name: limit / 2.0 for name, (limit, _declared) in computed.accuracy.items()}
        point = FuelLinePoint(
            _("the reading"), asked.o2_pct, asked.co2_pct, u["o2_pct"], u["co2_pct"], both_measured=True
        )
    elif answer["o2_pct"]["value"] is None or answer["co2_pct"]["value"] is None:
        return None
    else:
        o2, co2 = answer["o2_pct"], answer["co2_pct"]
        point = FuelLinePoint(_("the reading"), o2["value"], co2["value"], o2["u"], co2["u"])
    beside = [FUELS[slug] for slug in ("natural_gas", "propane") if slug != computed.gas.slug]
    return fuel_line(
        [point],
        computed.gas,
        words=words(),
        target_co2_pct=_target(band),
        accept_co2_pct=_accept(band),
        beside=beside if both else (),
    )
