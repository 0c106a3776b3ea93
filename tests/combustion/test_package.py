"""A walk through the package: what is public says its units, limits and source, and its examples run."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
import subprocess
import sys
from types import ModuleType

import pytest

import combustion

OTHERS = {"trims"}  # has its own tests
MODULES = sorted(
    m.name.removeprefix("combustion.")
    for m in pkgutil.walk_packages(combustion.__path__, "combustion.")
    if m.name.removeprefix("combustion.") not in OTHERS
)


def module(name: str) -> ModuleType:
    return importlib.import_module(f"combustion.{name}")


def public_things(name: str) -> list[tuple[str, object]]:
    """Public functions and classes of a module, and the public methods and properties of its classes."""
    found: list[tuple[str, object]] = []
    for label, thing in vars(module(name)).items():
        if label.startswith("_") or getattr(thing, "__module__", None) != f"combustion.{name}":
            continue
        if not (inspect.isfunction(thing) or inspect.isclass(thing)):
            continue
        found.append((label, thing))
        if inspect.isclass(thing):
            for inner, member in vars(thing).items():
                target = getattr(member, "func", None) or getattr(member, "fget", None) or member
                target = getattr(target, "__func__", target)
                if not inner.startswith("_") and inspect.isfunction(target):
                    found.append((f"{label}.{inner}", target))
    return found


EVERYTHING = [(f"{name}.{label}", thing) for name in MODULES for label, thing in public_things(name)]
HAS_UNIT = ("[", "unit", "Unit", "%", "°C", "kelvin", "hPa", "MJ")
INSIDE = {
    "flue_gas.channels",
    "flue_gas.heat",
    "flue_gas.rates",
}  # parts of one function, shown by its example


@pytest.mark.parametrize(("label", "thing"), EVERYTHING, ids=[label for label, _ in EVERYTHING])
def test_everything_public_states_units_limits_and_source(label, thing):
    text = inspect.getdoc(thing) or ""
    assert any(word in text for word in HAS_UNIT), "no unit"
    assert "Limits:" in text, "no limits"
    assert "Source:" in text, "no source"


@pytest.mark.parametrize("name", MODULES)
def test_every_module_says_what_it_is_for(name):
    assert (module(name).__doc__ or "").strip()


@pytest.mark.parametrize("name", MODULES)
def test_every_example_runs(name):
    failed, _ = doctest.testmod(module(name))
    assert failed == 0


@pytest.mark.parametrize(("label", "thing"), EVERYTHING, ids=[label for label, _ in EVERYTHING])
def test_every_public_function_shows_an_example(label, thing):
    if inspect.isfunction(thing) and thing.__module__.removeprefix("combustion.") not in INSIDE:
        is_method = "." in thing.__qualname__
        assert is_method or ">>>" in (inspect.getdoc(thing) or "")


def test_the_package_names_all_its_modules():
    text = combustion.__doc__ or ""
    for name in MODULES:
        if name != "arrays" and "." not in name:
            assert f"\n{name} " in text, name


def test_the_package_imports_no_framework_file_or_clock():
    """In a fresh interpreter: only Python, NumPy and SciPy come along."""
    names = ", ".join(f"combustion.{m}" for m in MODULES)
    script = f"import sys, {names}; print(' '.join(sorted({{m.split('.')[0] for m in sys.modules}})))"
    loaded = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    ).stdout.split()
    assert "combustion" in loaded
    assert not {"django", "rest_framework", "celery", "pandas"} & set(loaded)
