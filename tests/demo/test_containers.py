"""The container set-up names services, commands and secrets that exist. No engine runs it here."""

import shutil
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.conf import settings

ROOT = Path(settings.BASE_DIR)
OURS = ("migrate", "web", "worker", "beat")


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    loaded = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
    assert isinstance(loaded, dict)
    return loaded


def test_all_services_of_the_grown_set_up_are_there(compose: dict[str, Any]) -> None:
    assert set(compose["services"]) == {"database", "redis", *OURS}


@pytest.mark.parametrize("name", ["web", "worker", "beat"])
def test_command_of_each_service_exists(compose: dict[str, Any], name: str) -> None:
    command = compose["services"][name]["command"]
    assert shutil.which(command[0], path=str(Path(sys.executable).parent)) is not None
    target = command[-1] if name == "web" else command[command.index("--app") + 1]
    module, _, attribute = target.partition(":")
    assert hasattr(import_module(module), attribute or "app")


def test_migrate_runs_before_what_needs_the_tables(compose: dict[str, Any]) -> None:
    for name in ("web", "worker", "beat"):
        needs = compose["services"][name]["depends_on"]
        assert needs["migrate"] == {"condition": "service_completed_successfully"}
        assert needs["database"] == {"condition": "service_healthy"}


def test_secrets_come_from_files_and_every_one_used_is_declared(compose: dict[str, Any]) -> None:
    for service in compose["services"].values():
        environment = service.get("environment", {})
        used = set(service.get("secrets", []))
        assert used <= set(compose["secrets"])
        named = {value.removeprefix("/run/secrets/") for key, value in environment.items() if "_FILE" in key}
        assert named <= used
        assert not {"SECRET_KEY", "DATABASE_URL", "POSTGRES_PASSWORD"} & set(environment)


def test_health_of_the_web_service_is_asked_where_it_is_ready(compose: dict[str, Any]) -> None:
    assert "/readyz" in compose["services"]["web"]["healthcheck"]["test"][-1]


def test_image_installs_pinned_requirements_and_runs_as_nobody_special() -> None:
    text = (ROOT / "Dockerfile").read_text(encoding="utf-8")
    assert "--require-hashes -r requirements/base.txt" in text
    assert "\nUSER flueledger\n" in text
    for copied in ("requirements/base.txt", "manage.py"):
        assert (ROOT / copied).exists()
