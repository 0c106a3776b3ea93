"""Work out due dates and follow-ups again, of the whole fleet or of some appliances."""

import sys
from argparse import ArgumentParser
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from tqdm import tqdm

from fleet.models import Appliance
from planning.services import Planned, fleet_plan, plan_appliances


class Command(BaseCommand):
    help = "Work out due dates and follow-ups again. Safe to break off and to run again."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--appliance", action="append", type=UUID, help="UUID; may be given repeatedly.")
        parser.add_argument("--dry-run", action="store_true", help="Count what would change, write nothing.")

    def handle(self, *args: Any, **options: Any) -> None:
        uuids, dry_run = options["appliance"], options["dry_run"]
        planned = self._some(uuids, dry_run) if uuids else self._all(dry_run)
        verb = "would change" if dry_run else "changed"
        self.stdout.write(f"{planned.seen} appliances looked at, {planned.changed} {verb}.")

    def _some(self, uuids: list[UUID], dry_run: bool) -> Planned:
        known = dict(Appliance.objects.filter(uuid__in=uuids).values_list("uuid", "pk"))
        unknown = [str(uuid) for uuid in uuids if uuid not in known]
        if unknown:
            raise CommandError(f"--appliance: no appliance has the UUID {', '.join(unknown)}.")
        return plan_appliances(list(known.values()), today=timezone.localdate(), dry_run=dry_run)

    def _all(self, dry_run: bool) -> Planned:
        with tqdm(total=Appliance.objects.count(), unit="appliance", disable=not sys.stderr.isatty()) as bar:
            return fleet_plan(today=timezone.localdate(), dry_run=dry_run, progress=bar.update)
