"""Recompute drift, wander, analyser bias and gas shift of the whole fleet."""

import sys
import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from tqdm import tqdm

from analytics.claiming import DriftBusy
from analytics.models import DriftRun
from analytics.services import fleet_recompute


class Command(BaseCommand):
    help = "Recompute drift, wander, bias and gas of the whole fleet. Safe to break off and to run again."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--dry-run", action="store_true", help="Fit and count, write nothing.")

    def handle(self, *args: Any, **options: Any) -> None:
        began = time.monotonic()
        with tqdm(unit=" rows", disable=not sys.stderr.isatty()) as bar:

            def progress(step: str, rows: int) -> None:
                bar.set_description(step, refresh=False)
                bar.update(rows)

            try:
                done = fleet_recompute(
                    kind=DriftRun.Kind.COMMAND,
                    now=timezone.now(),
                    dry_run=options["dry_run"],
                    progress=progress,
                )
            except DriftBusy as busy:
                raise CommandError(str(busy)) from busy
        run = done.run
        self.stdout.write(
            f"{run.visits} visits and {run.firing_tests} firing tests of {run.burners} burners read; "
            f"{done.estimated_trims} trims estimated, {done.flagged_trims} flagged on "
            f"{run.flagged_appliances} appliances; {done.refitted_appliances} refitted after."
        )
        if options["dry_run"]:
            self.stdout.write("Nothing was written.")
        else:
            self.stdout.write(
                f"Run {run.pk} is what readers see now, after {time.monotonic() - began:.1f} s."
            )
