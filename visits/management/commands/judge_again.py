"""Judge stored visits again: what is owed, or what is named."""

import sys
from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand
from tqdm import tqdm

from visits.judging.asking import judgement_ask
from visits.judging.basis import basis_watch
from visits.judging.duties import duties_work, engine_ask
from visits.judging.engine import ENGINE_VERSION
from visits.models import JudgeDuty


class Command(BaseCommand):
    help = (
        "Judge visits again, newest first: what the tick owes (bias, engine, specs, limits, gas) and what is "
        "named here. Safe to break off and to run again."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--all", action="store_true", help="every visit, whatever it was judged by")
        parser.add_argument("--since", type=date.fromisoformat, help="with --all: from this local day on")
        parser.add_argument("--engine", action="store_true", help="those without results of this engine")
        parser.add_argument("--period", type=int, help="those of an analyser period, by id")
        parser.add_argument("--model", type=int, help="those of a model's appliances, by id")
        parser.add_argument("--site", type=int, help="those at a site, by id")
        parser.add_argument("--ask-only", action="store_true", help="leave the work to the tick")

    def handle(self, *args: Any, **options: Any) -> None:
        cause = JudgeDuty.Cause
        engine_ask()
        basis_watch()
        if options["all"]:
            judgement_ask(cause.ASKED, "all", from_on=options["since"])
        if options["engine"]:
            judgement_ask(cause.ENGINE, ENGINE_VERSION)
        for name, kind, subject in (
            ("period", cause.BIAS, "{}"),
            ("model", cause.SPECS, "{}"),
            ("site", cause.GAS, "site:{}"),
        ):
            if options[name] is not None:
                judgement_ask(kind, subject.format(options[name]))
        owed = JudgeDuty.objects.filter(finished_at__isnull=True).count()
        if options["ask_only"]:
            self.stdout.write(f"{owed} duties wait for the tick.")
            return
        judged = changed = 0
        with tqdm(unit=" visits", disable=not sys.stderr.isatty()) as bar:
            while done := duties_work(progress=bar.update):
                judged, changed = judged + done["judged"], changed + done["changed"]
        self.stdout.write(f"{owed} duties: {judged} visits judged again, {changed} came out differently.")
