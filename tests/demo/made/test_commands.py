"""A second run of make_demo keeps what is there."""

from io import StringIO

import pytest
from django.apps import apps
from django.core.management import call_command

from people.models import User
from tests.demo.made.conftest import SEED, TODAY, MadeDemo
from web.demo.accounts import OFFICE_LOGIN

pytestmark = [pytest.mark.django_db, pytest.mark.xdist_group("the demo, made once")]


def counts() -> dict[str, int]:
    return {model._meta.label: model._default_manager.count() for model in apps.get_models()}


def test_second_run_of_make_demo_changes_nothing_and_shows_no_secret(demo: MadeDemo) -> None:
    before, held = counts(), User.objects.get(username=OFFICE_LOGIN).password
    said = StringIO()
    call_command("make_demo", seed=SEED + 1, today=TODAY, stdout=said)
    assert counts() == before
    assert User.objects.get(username=OFFICE_LOGIN).password == held
    assert OFFICE_LOGIN in said.getvalue()
    assert "demo-password-1" not in said.getvalue()


def test_new_secrets_end_the_old_token_and_change_nothing_else(demo: MadeDemo) -> None:
    before, said = counts(), StringIO()
    call_command("make_demo", new_secrets=True, stdout=said)
    after = counts()
    assert after.pop("common.AuditLine") == before.pop("common.AuditLine") + 1
    assert after == before
    assert not User.objects.get(username=OFFICE_LOGIN).check_password("demo-password-1")
