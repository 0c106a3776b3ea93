"""What each number of the flue-gas page means, in one sentence, and why one may be missing."""

from collections.abc import Sequence

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

Groups = Sequence[tuple[str | Promise, Sequence[tuple[str, str | Promise]]]]

GROUPS: Groups = (
    (
        _("Mixture"),
        (
            ("air_ratio", _("Air over air needed: 1 is exactly enough, below 1 is rich.")),
            ("excess_air_pct", _("Air beyond what the gas needs.")),
            ("o2_pct", _("From the channels that were measured, on the fuel's line.")),
            ("co2_pct", _("That goes with the O2 on this fuel.")),
            ("co2_max_pct", _("The most CO2 this fuel can make, with no air left over.")),
            ("fuel_line_residual_pct", _(
                "Measured CO2 less what the measured O2 asks for. Needs both measured. Far from 0: another "
                "fuel, or a channel that is off. Dilution by air never shows here."
            )),
        ),
    ),
    (
        _("Carbon monoxide"),
        (
            ("co_air_free_ppm", _("As if without excess air: comparable between burners.")),
            ("co_co2_ratio", _("How completely the gas burns, whatever the dilution.")),
            ("co_mg_per_kwh_net", _("By mole balance, per heat on net value.")),
            ("co_lb_per_mmbtu", _("By mole balance, per heat on gross value.")),
        ),
    ),
    (
        _("Heat"),
        (
            ("efficiency_gross_pct", _("Heat kept of the gross value; casing losses left out.")),
            ("efficiency_net_pct", _("The same heat over the net value: condensing, above 100.")),
            ("sensible_loss_gross_pct", _("Heat the flue gas carries away by being warm.")),
            ("latent_loss_gross_pct", _("Heat of the vapour that leaves uncondensed.")),
            ("unburnt_loss_gross_pct", _("Heat of the CO that did not burn.")),
            ("siegert_loss_net_pct", _("The trade's short formula (Siegert), beside.")),
            ("dew_point_c", _("Below it water condenses from the flue gas.")),
            ("condensed_pct", _("Of all water, taking the flue gas as saturated. Measured wins.")),
            ("condensate_kg_per_kwh", _("Per gross heat, by the same assumption.")),
        ),
    ),
    (
        _("Nitrogen oxides"),
        (
            ("nox_ppm_at_3_o2", _("Dry, as it would be at 3 % O2.")),
            ("nox_mg_per_kwh_net", _("As NO2, by mole balance, per heat on net value.")),
            ("nox_lb_per_mmbtu", _("As NO2, by mole balance, per heat on gross value.")),
        ),
    ),
)  # fmt: skip
METER_ROWS = (
    ("rate_m3_h", _("Volume over time, nothing corrected.")),
    ("base_rate_m3_h", _("Corrected for the gas's temperature and absolute pressure.")),
    ("gross_kw", _("On the gross heating value.")),
    ("net_kw", _("On the net heating value.")),
)
YEAR_ROWS = (
    ("efficiency_gross_pct", _("Combustion efficiency then, gross"), "%", 1),
    ("gain_gross_pct", _("Points gained, gross"), "%", 2),
    ("fuel_saved_pct", _("Of today's fuel saved"), "%", 2),
)
WHY: dict[str, str | Promise] = {
    "no_flue_temp": _("needs the flue gas temperature"),
    "no_air_temp": _("needs the air temperature"),
    "no_nox": _("needs NOx"),
    "one_measured_channel": _("needs O2 and CO2, both measured"),
    "rich": _("not for a rich mixture"),
    "too_large": _("too close to plain air"),
    "co_out_of_range": _("CO over any range"),
    "no_published_constants": _("no constants published for this gas"),
    "no_input_or_hours": _("needs input and hours"),
    "no_price": _("needs a price"),
    "no_nameplate": _("needs the nameplate"),
}
