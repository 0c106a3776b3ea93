"""One recompute at a time: a lease on the pointer's row."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from analytics.models import DriftPointer, DriftRun

LEASE = timedelta(minutes=15)
"""A run renews its lease while it works; one that has not for this long is taken to have died."""


class DriftBusy(Exception):
    """Another recompute is under way, or took this one's place."""


@dataclass(frozen=True)
class Claim:
    """A run that holds the lease."""

    run: DriftRun

    def renew(self) -> None:
        """Hold the lease for longer. Raises DriftBusy where it was lost."""
        held = DriftPointer.objects.filter(only=1, computing=self.run)
        if held.update(lease_until=timezone.now() + LEASE) != 1:
            raise DriftBusy(f"Run {self.run.pk} lost its place to another.")

    def flip(self) -> None:
        """Let readers see this run from now on. Raises DriftBusy where the lease was lost."""
        held = DriftPointer.objects.filter(only=1, computing=self.run)
        if held.update(current=self.run, computing=None, lease_until=None) != 1:
            raise DriftBusy(f"Run {self.run.pk} lost its place to another.")

    def release(self) -> None:
        """Let the next run begin."""
        DriftPointer.objects.filter(only=1, computing=self.run).update(computing=None, lease_until=None)


@transaction.atomic
def claim(*, kind: DriftRun.Kind, now: datetime, as_of: date) -> Claim:
    """Begin a run. Raises DriftBusy while another holds the lease."""
    DriftPointer.objects.get_or_create(only=1)
    run = DriftRun.objects.create(kind=kind, started_at=now, as_of=as_of)
    free = Q(computing__isnull=True) | Q(lease_until__lt=now)
    taken = DriftPointer.objects.filter(free, only=1).update(computing=run, lease_until=now + LEASE)
    if taken != 1:
        raise DriftBusy("Another recompute is under way; it will see what this one would have seen.")
    return Claim(run)
