"""What the exporting commands share: a file written whole or not at all."""

import sys
from argparse import ArgumentParser
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from tqdm import tqdm

from analytics.exports import sheet_lines


class SheetCommand(BaseCommand):
    """Writes `rows` under `columns` to a CSV file."""

    columns: Sequence[str] = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE.csv", type=Path)

    def rows(self) -> Iterable[Sequence[Any]]:
        """The sheet's rows."""
        raise NotImplementedError

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        part = path.with_name(path.name + ".part")
        count = -1
        try:
            with part.open("w", encoding="utf-8", newline="") as file:
                lines = sheet_lines(self.columns, self.rows())
                for line in tqdm(lines, unit=" rows", disable=not sys.stderr.isatty()):
                    file.write(line)
                    count += 1
            part.replace(path)
        except OSError as error:
            raise CommandError(f"{path} cannot be written: {error.strerror}.") from error
        finally:
            part.unlink(missing_ok=True)
        self.stdout.write(f"{count} rows written to {path}.")
