"""Write an invented fleet of any size, for measuring: streamed, a chunk of customers at a time."""

import sys
import time
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone
from tqdm import tqdm

from web.demo.load import fleet_load


class Command(BaseCommand):
    help = "Write an invented fleet of N appliances over Y years, in constant memory."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--appliances", type=int, required=True, metavar="N")
        parser.add_argument("--years", type=int, required=True, metavar="Y")
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument("--today", type=date.fromisoformat, help="last day of the record, YYYY-MM-DD")
        parser.add_argument("--no-judge", action="store_true", help="leave the visits unjudged")

    def handle(self, *args: Any, **options: Any) -> None:
        for name, most in (("appliances", 1_000_000), ("years", 40)):
            if not 1 <= options[name] <= most:
                raise CommandError(f"--{name} is {options[name]}; it must be 1 to {most:,}.")
        began = time.monotonic()
        with tqdm(unit=" visits", disable=not sys.stderr.isatty()) as bar:

            def progress(step: str, visits: int) -> None:
                bar.set_description(step)
                bar.update(visits)

            try:
                counts = fleet_load(
                    appliances=options["appliances"],
                    years=options["years"],
                    seed=options["seed"],
                    today=options["today"] or timezone.now().date(),
                    judge=not options["no_judge"],
                    progress=progress,
                )
            except ValueError as error:
                raise CommandError(str(error)) from error
        seconds = time.monotonic() - began
        for name, count in counts.items():
            self.stdout.write(f"{name}: {count:,}")
        self.stdout.write(f"{counts['visits'] / seconds:,.0f} visits/s over {seconds:,.1f} s")
