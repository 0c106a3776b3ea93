"""Work through the outbox and what is due: once, or for ever with --every."""

import signal
import time
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db import connection
from django.utils import timezone

from common import ticking


class Command(BaseCommand):
    help = "Work through the outbox and what is due, once, or again and again with --every SECONDS."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--every", type=float, metavar="SECONDS", help="go on until stopped")

    def handle(self, *args: Any, **options: Any) -> None:
        every = options["every"]
        if every is None:
            for name, answer in ticking.tick(timezone.now()).items():
                self.stdout.write(f"{name}: {answer}")
            return
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        try:
            while True:
                ticking.tick(timezone.now())
                connection.close_if_unusable_or_obsolete()
                time.sleep(every)
        except KeyboardInterrupt:
            return
