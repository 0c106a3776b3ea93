"""Alerts by e-mail: one letter for all that are new, each alert in one letter only."""

from datetime import datetime

from django.conf import settings
from django.core.mail import EmailMessage

from analytics.models import Alert
from analytics.selectors.alerts import WHAT_TO_DO, alert_sentence
from people.models import Role, User

LINES = 20
"""A first run over a large fleet finds thousands: the letter names some, the list holds all."""
AT_ONCE = 500


def alerts_mail(now: datetime) -> int:
    """Send what nobody has been sent. Returns how many alerts the letter was about.

    The rows are claimed before it is sent and given back where sending fails: run twice at once, one sends.
    """
    new = Alert.objects.filter(mailed_at__isnull=True)
    ids = list(new.order_by("pk").values_list("pk", flat=True)[:AT_ONCE])
    claimed = [pk for pk in ids if new.filter(pk=pk).update(mailed_at=now) == 1]
    told = list(Alert.objects.filter(pk__in=claimed, holds=True).with_subject().order_by("kind", "pk"))
    to = _readers()
    if not told or not to:
        return 0
    try:
        EmailMessage(_subject(len(told)), _text(told), to=to).send()
    except Exception:
        Alert.objects.filter(pk__in=claimed).update(mailed_at=None)
        raise
    return len(told)


def _readers() -> list[str]:
    rows = User.objects.filter(is_active=True, role__in=[Role.OFFICE, Role.MANAGER]).exclude(email="")
    return list(rows.order_by("pk").values_list("email", flat=True))


def _subject(count: int) -> str:
    return f"Flueledger: {count} new alert{'s' if count != 1 else ''}"


def _text(told: list[Alert]) -> str:
    lines: list[str] = []
    for kind in dict.fromkeys(row.kind for row in told):
        own = [row for row in told if row.kind == kind]
        lines += [f"{own[0].get_kind_display().capitalize()} ({len(own)})", ""]
        lines += [f"- {alert_sentence(row)}" for row in own[:LINES]]
        if len(own) > LINES:
            lines.append(f"- and {len(own) - LINES} more")
        lines += ["", f"What to do: {WHAT_TO_DO[kind]}", ""]
    lines += [f"The whole list: {settings.PUBLIC_URL.rstrip('/')}/alerts/", "", _CAUTION]
    return "\n".join(lines)


_CAUTION = (
    "Advice only. Servicing gas appliances is for licensed people: follow the maker's instructions, local "
    "codes and licensed practice. Nothing here declares an appliance safe."
)
