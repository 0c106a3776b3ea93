"""Alerts in words: what each says, and what to do about it."""

from django.db.models import QuerySet

from analytics.models import Alert
from analytics.selectors.sentences import NEARLY_SURE
from people.models import User

WHAT_TO_DO = {
    Alert.Kind.WANDERER.value: (
        "Do not just trim it again. Look at the evidence, then have gas valve, linkage, fan and seals of "
        "this burner examined by a licensed person as the maker says; see it again by the proposed day."
    ),
    Alert.Kind.ANALYSER.value: (
        "Take it out of use until it is calibrated. Look through the verdicts it would change, and see again "
        "any burner that was set by it close to a limit."
    ),
    Alert.Kind.GAS.value: (
        "Ask the gas supplier what changed, and tell the technicians: a burner moved for the gas alone is "
        "off when the gas goes back. The maker's limits hold on the day, whatever the cause."
    ),
    Alert.Kind.OUTSIDE.value: "Accept the proposed earlier visit, or decline it with your reason.",
}


def alerts(*, user: User, waiting: bool = True, kind: str = "") -> QuerySet[Alert]:
    """Alerts that wait, or all that ever were, the newest first."""
    rows = Alert.objects.visible_to(user).with_subject()
    rows = rows.waiting() if waiting else rows
    return rows.filter(kind=kind) if kind else rows


def alert_sentence(alert: Alert) -> str:
    """What an alert says, with its number and interval."""
    return _SENTENCES[alert.kind](alert).replace(" -", " −")


def _wanderer(alert: Alert) -> str:
    chance = "over 0.99" if alert.value > NEARLY_SURE else f"{alert.value:.2f}"
    return f"{_place(alert)}: a trim wanders (probability {chance})."


def _outside(alert: Alert) -> str:
    return (
        f"{_place(alert)}: likely outside an acceptance limit by its annual date (probability "
        f"{alert.value:.2f}); to be seen by {_day(alert)}."
    )


def _analyser(alert: Alert) -> str:
    period = alert.period
    if period is None:
        return "An analyser is off."
    since = f"{period.starts_on:%d %b %Y}" if period.starts_on else "the beginning"
    return (
        f"Analyser {period.analyser}, period from {since}: reads {alert.value:+.2f} % CO2 against the "
        f"truth{_reach(alert)}."
    )


def _gas(alert: Alert) -> str:
    way = "richer" if alert.value > 0 else "leaner"
    month = f"{alert.day:%B %Y}" if alert.day else "a recent month"
    return f"Gas of {alert.gas_area}: {way} by {abs(alert.value):.1f} % in {month} than usual{_reach(alert)}."


_SENTENCES = {
    Alert.Kind.WANDERER.value: _wanderer,
    Alert.Kind.OUTSIDE.value: _outside,
    Alert.Kind.ANALYSER.value: _analyser,
    Alert.Kind.GAS.value: _gas,
}


def _place(alert: Alert) -> str:
    appliance = alert.appliance
    return f"{appliance.tag}, {appliance.plant.site}" if appliance else "An appliance"


def _day(alert: Alert) -> str:
    return f"{alert.day:%d %b %Y}" if alert.day else "soon"


def _reach(alert: Alert) -> str:
    if alert.low is None or alert.high is None:
        return ""
    return f" (95 %: {alert.low:+.2f} to {alert.high:+.2f})"
