"""Print a new token for a device of a person."""

from argparse import ArgumentParser
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from people.models import User
from people.services import device_token_issue


class Command(BaseCommand):
    help = "Print a new token for a device of a person. It is shown once and never kept."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--name", required=True, help="What the device is called.")

    def handle(self, *args: Any, **options: Any) -> None:
        user = User.objects.filter(username=options["username"], is_active=True).first()
        if user is None:
            raise CommandError(f"username: nobody with an open account is called {options['username']!r}.")
        try:
            _, text = device_token_issue(user=user, name=options["name"])
        except ValidationError as error:
            raise CommandError(f"--name: {' '.join(error.messages)}") from error
        self.stdout.write(text)
