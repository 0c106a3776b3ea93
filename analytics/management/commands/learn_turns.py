from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from analytics.learning import models_moved, turns_learn


class Command(BaseCommand):
    help = "Learn what a turn of each model's trims does from all recorded moves. Safe to run again."

    def handle(self, *args: Any, **options: Any) -> None:
        done = turns_learn(sorted(models_moved()), now=timezone.now())
        self.stdout.write(
            f"models {done.models}, trims learnt {done.trims}, of these with an amount {done.with_amount}"
        )
