"""Fill an empty database with the invented fleet of Tarnholt Plant Services, and print who may sign in."""

import sys
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone
from tqdm import tqdm

from fleet.models import Appliance
from web.demo.accounts import LOGINS, Secrets, accounts_there, secrets_renew
from web.demo.load import demo_load
from web.demo.story import demo_truth
from web.demo.world import ZONE_NAME


class Command(BaseCommand):
    help = "Fill an empty database with the demo fleet. A second run keeps what is there."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--seed", type=int, default=1, help="another fleet for another seed")
        parser.add_argument("--today", type=date.fromisoformat, help="the demo's present day, YYYY-MM-DD")
        parser.add_argument("--password", help="of the four logins, instead of one made up")
        parser.add_argument("--new-secrets", action="store_true", help="renew password and token, no more")
        parser.add_argument("--truth", metavar="FILE", help="write down as JSON what was planted")

    def handle(self, *args: Any, **options: Any) -> None:
        today = options["today"] or timezone.now().astimezone(ZoneInfo(ZONE_NAME)).date()
        if accounts_there():
            shown = None
            if options["new_secrets"] or options["password"]:
                shown = secrets_renew(options["password"])
            self._print_logins(shown)
            return
        if Appliance.objects.exists():
            raise CommandError("This database holds another fleet; the demo needs an empty one.")
        shown = self._load(options["seed"], today, options["password"])
        if options["truth"]:
            with open(options["truth"], "w", encoding="utf-8") as file:
                file.write(demo_truth(seed=options["seed"], today=today).as_json())
        self._print_logins(shown)

    def _load(self, seed: int, today: date, password: str | None) -> Secrets:
        with tqdm(desc="demo fleet", unit=" visits", disable=not sys.stderr.isatty()) as bar:

            def progress(step: str, visits: int) -> None:
                bar.set_postfix_str(step)
                bar.update(visits)

            return demo_load(seed=seed, today=today, password=password, progress=progress)

    def _print_logins(self, shown: Secrets | None) -> None:
        self.stdout.write("Sign in as (everyone and everything in this demo is invented):")
        for role, login in LOGINS:
            self.stdout.write(f"  {role:<20}{login}")
        if shown is None:
            self.stdout.write(
                "The demo is there already; nothing was changed. Password and token were shown once;"
            )
            self.stdout.write("`python manage.py make_demo --new-secrets` makes new ones.")
            return
        self.stdout.write(f"  password of all four: {shown.password}")
        self.stdout.write(f"  device token of the technician: {shown.token}")
        self.stdout.write("Password and token are shown this once and kept only as hashes.")
