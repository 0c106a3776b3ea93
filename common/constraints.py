"""Database constraints that several apps share."""

from collections.abc import Iterable

from django.db.models import CheckConstraint, F, Q

MEASURED_LIMIT = 1e6


def finite(prefix: str, fields: Iterable[str]) -> list[CheckConstraint]:
    """One constraint per measured column: null, or an absolute value under 1e6.

    NaN is stopped on both databases: SQLite stores it as NULL, which a driver-side check precedes, and
    PostgreSQL orders it above every number.
    """
    return [
        CheckConstraint(
            condition=Q(**{f"{field}__isnull": True})
            | Q(**{f"{field}__gt": -MEASURED_LIMIT, f"{field}__lt": MEASURED_LIMIT}),
            name=f"{prefix}_{field}_finite",
            violation_error_message=f"{field} must be a finite number of absolute value under 1e6.",
        )
        for field in fields
    ]


def ordered(name: str, low: str, high: str) -> CheckConstraint:
    """`low` not above `high`, where both are known."""
    return CheckConstraint(
        condition=Q(**{f"{low}__isnull": True})
        | Q(**{f"{high}__isnull": True})
        | Q(**{f"{low}__lte": F(high)}),
        name=name,
        violation_error_message=f"{low} must not be above {high}.",
    )


def one_of(name: str, field: str, values: Iterable[str]) -> CheckConstraint:
    """`field` holds one of the values of its enumeration."""
    return CheckConstraint(
        condition=Q(**{f"{field}__in": list(values)}),
        name=name,
        violation_error_message=f"{field} is not one of its known values.",
    )


def within(name: str, field: str, low: float, high: float) -> CheckConstraint:
    """Reference data between two bounds, or unknown."""
    return CheckConstraint(
        condition=Q(**{f"{field}__isnull": True}) | Q(**{f"{field}__gte": low, f"{field}__lte": high}),
        name=name,
        violation_error_message=f"{field} must lie between {low:g} and {high:g}.",
    )
