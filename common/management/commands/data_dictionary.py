"""Write the data dictionary from the models: every table and column with its unit."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.apps import apps
from django.core.management.base import BaseCommand, CommandParser
from django.db import models

UNITS = {
    "_pct": "%",
    "_ppm": "ppm",
    "_c": "°C",
    "_kw": "kW",
    "_mbar": "mbar",
    "_pa": "Pa",
    "_m3_h": "m³/h",
    "_ua": "µA",
    "_rpm": "1/min",
    "_m": "m",
    "_s": "s",
    "_minutes": "min",
    "_months": "months",
    "_days": "days",
    "_hours": "h",
    "_turns": "turns",
    "_at": "instant, UTC",
    "_on": "local day",
}
OURS = ("common", "people", "fleet", "visits", "analytics", "planning")


class Command(BaseCommand):
    help = "Write docs/data-dictionary.md from the models, or with --check fail where it is out of date."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--check", action="store_true", help="write nothing; exit 1 if out of date")
        parser.add_argument("--file", default="docs/data-dictionary.md", metavar="FILE")

    def handle(self, *args: Any, **options: Any) -> None:
        path, text = Path(options["file"]), "\n".join(_lines()) + "\n"
        if not options["check"]:
            path.write_text(text, encoding="utf-8")
            self.stdout.write(f"wrote {path}")
        elif not path.exists() or path.read_text(encoding="utf-8") != text:
            self.stderr.write(f"{path} is out of date: run manage.py data_dictionary")
            raise SystemExit(1)


def _lines() -> Iterator[str]:
    yield "# Data dictionary"
    yield ""
    yield "Made from the models by `python manage.py data_dictionary`. Stored values are SI; compositions"
    yield "are dry; a missing value is empty, never 0. Measured values are finite and under 1e6."
    for app in OURS:
        for model in sorted(apps.get_app_config(app).get_models(), key=lambda model: model.__name__):
            yield from _table(model)


def _table(model: type[models.Model]) -> Iterator[str]:
    yield f"\n## {model._meta.app_label}.{model.__name__}\n"
    yield (model.__doc__ or "").strip().split("\n\n")[0].replace("\n    ", " ")
    yield "\n| column | type | unit | meaning |\n|---|---|---|---|"
    for field in model._meta.get_fields():
        if isinstance(field, models.Field) and field.concrete:
            yield f"| `{field.name}` | {_type(field)} | {_unit(field.name)} | {_meaning(field)} |"


def _type(field: models.Field[Any, Any]) -> str:
    name = field.get_internal_type().removesuffix("Field")
    if isinstance(field, models.ForeignKey | models.OneToOneField) and field.related_model:
        name = f"→ {getattr(field.related_model, '__name__', field.related_model)}"
    return f"{name}, may be empty" if field.null else name


def _unit(name: str) -> str:
    return next((unit for suffix, unit in UNITS.items() if name.endswith(suffix)), "")


def _meaning(field: models.Field[Any, Any]) -> str:
    text = str(field.help_text)
    if field.choices:
        text = f"{text} {', '.join(f'`{value}`' for value, _ in field.flatchoices)}".strip()
    return text.replace("|", "/")
