"""The house: documents that must keep step with the code, and things no file may hold."""

import re
import subprocess
from pathlib import Path

import pytest
from django.core.management import call_command

from combustion.fuels import FUELS
from fleet.models import FuelSlug
from web.problem_codes import PROBLEM_CODES

ROOT = Path(__file__).parent.parent


def _files() -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    names = listed.stdout.split("\n") if listed.returncode == 0 else []
    return [path for name in names if name and (path := ROOT / name).is_file()]


def test_the_data_dictionary_is_up_to_date() -> None:
    call_command("data_dictionary", check=True, file=str(ROOT / "docs/data-dictionary.md"))


def test_the_fleet_names_the_fuels_that_combustion_knows() -> None:
    assert set(FuelSlug.values) == set(FUELS)


def test_no_file_holds_a_download_address_of_a_package_registry() -> None:
    hosts = re.compile(rb"(files\.pythonhosted|registry\.npmjs|deb\.debian)\.org")
    assert [path for path in _files() if path.suffix != ".js" and hosts.search(path.read_bytes())] == []


def test_requirements_are_pinned_with_hashes() -> None:
    for name in ("base.txt", "dev.txt"):
        text = (ROOT / "requirements" / name).read_text(encoding="utf-8")
        pins = re.findall(r"^[a-z0-9][^\s]*==[^\s]+", text, flags=re.MULTILINE | re.IGNORECASE)
        blocks = re.split(r"^(?=[a-z0-9])", text, flags=re.MULTILINE | re.IGNORECASE)[1:]
        assert len(pins) > 20
        assert all("--hash=sha256:" in block for block in blocks)


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_links_of_the_front_documents_lead_somewhere(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    targets = re.findall(r"\]\(([^)#:]+)\)", text)
    assert [target for target in targets if not (ROOT / target).exists()] == []


def test_every_code_of_a_refusal_is_explained_where_its_type_leads() -> None:
    raised = re.compile(r"\bProblem\(\s*\"([a-z_]+)\"")
    sources = [path for path in _files() if path.suffix == ".py" and path.parts[len(ROOT.parts)] != "tests"]
    codes = {code for path in sources for code in raised.findall(path.read_text(encoding="utf-8"))}
    assert len(codes) > 10
    assert codes - set(PROBLEM_CODES) == set()
