"""Every address, every method, every role, one's own and others'."""

from collections.abc import Iterator

import pytest
from django.urls import URLPattern, URLResolver, get_resolver

from people.throttling import PersonThrottle
from tests.access.table import PEOPLE, SIDES, tables, undone
from tests.access.world import build_world

pytestmark = pytest.mark.xdist_group("one world for every row")
ROWS = list(tables())
# Django's own pages, behind its own permissions.
NOT_OURS = ("admin/",)
ANSWERED_BY_FRAMEWORKS = {"head", "options", "trace"}


@pytest.fixture(scope="module")
def world(django_db_setup, django_db_blocker):
    """One world for every row: each question is undone before the next, and the world after the last."""
    with django_db_blocker.unblock(), undone():
        yield build_world()


@pytest.mark.django_db
@pytest.mark.parametrize("row", ROWS, ids=str)
def test_everyone_is_answered_as_the_table_says(row, world):
    PersonThrottle.pace.clear()
    found = {side: {who: _asked(world, row, side, who) for who in PEOPLE} for side in SIDES}
    assert found == {side: row.expected(side) for side in SIDES}


def _asked(world, row, side, who):
    with undone():
        return world.ask(row, side, who)


def addresses(patterns=None, prefix="", namespace="") -> Iterator[tuple[str, str, object]]:
    """(route, name with namespace, view) of every address of the product."""
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        route = prefix + str(pattern.pattern)
        if route.startswith(NOT_OURS):
            continue
        if isinstance(pattern, URLResolver):
            inner = f"{namespace}{pattern.namespace}:" if pattern.namespace else namespace
            yield from addresses(pattern.url_patterns, route, inner)
        elif isinstance(pattern, URLPattern):
            yield route, f"{namespace}{pattern.name}", pattern.callback


def methods_of(view) -> set[str]:
    """The methods that a view answers; a plain function does not tell, and must have one row at the least."""
    view_class = getattr(view, "cls", None) or getattr(view, "view_class", None)
    if view_class is None:
        return set()
    own = {name for name in view_class.http_method_names if hasattr(view_class, name)}
    return {name.upper() for name in own - ANSWERED_BY_FRAMEWORKS}


def part_of(name, view) -> str:
    """The table that an address belongs in: its namespace's, else its app's; config's for the description."""
    namespace, colon, _ = name.partition(":")
    app = view.__module__.partition(".")[0]
    return namespace if colon else "config" if app == "drf_spectacular" else app


PARTS = ("config", "people", "fleet", "visits", "analytics", "planning", "web")


def test_the_parts_below_hold_every_address():
    assert {part_of(name, view) for _, name, view in addresses()} <= set(PARTS)


@pytest.mark.parametrize("part", PARTS)
def test_no_address_and_no_method_is_missing_from_the_table(part):
    rows = {(row.name, row.method) for row in ROWS}
    named = {name for name, _ in rows}
    missing = [
        f"{method} {route} ({name})"
        for route, name, view in addresses()
        if part_of(name, view) == part
        for method in sorted(methods_of(view) or {"ANY"})
        if (name, method) not in rows and not (method == "ANY" and name in named)
    ]
    assert missing == []


def test_the_walk_finds_what_the_table_names_and_no_name_twice():
    names = [name for _, name, _ in addresses()]
    assert len(names) == len(set(names))
    assert {row.name for row in ROWS} <= set(names)
    assert "None" not in {name.rpartition(":")[2] for name in names}


def test_a_missing_row_would_be_found():
    """The walk sees each method of a class: were the row for signing a device out gone, it would say so."""
    found = {(name, method) for _, name, view in addresses() for method in methods_of(view)}
    assert {("device-token", "DELETE"), ("device-tokens", "POST"), ("visit", "PUT")} <= found


def test_every_row_answers_everyone():
    for row in ROWS:
        for side in SIDES:
            assert set(row.expected(side)) == set(PEOPLE), str(row)


def test_nobody_without_a_sign_in_is_let_into_anything_but_signing_in():
    open_rows = {str(row) for row in ROWS if row.expected("mine")["anonymous"] < 300}
    assert {row for row in open_rows if not _is_page(row)} == {"POST device-tokens"}


def _is_page(row: str) -> bool:
    return row.split()[1].startswith("web:")
