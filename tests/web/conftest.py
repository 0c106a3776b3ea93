"""A small fleet, and people signed in."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.utils import timezone

from people.models import User
from tests.web.small_fleet import SmallFleet, small_fleet

TODAY = timezone.localdate()


@pytest.fixture
def fleet(db: None) -> SmallFleet:
    """Two customers, four appliances, years of visits."""
    return small_fleet(TODAY)


@pytest.fixture
def page_of() -> Callable[[User], Client]:
    """A browser's client in which this person has signed in."""

    def signed_in(user: User) -> Client:
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return signed_in
