"""What every test may use."""

from collections.abc import Callable

import pytest
from rest_framework.test import APIClient

from people.models import User
from people.services import device_token_issue


@pytest.fixture
def api_of() -> Callable[[User], APIClient]:
    """A client that signs in with a fresh device token of the given person."""

    def client(user: User) -> APIClient:
        _, text = device_token_issue(user=user, name="test device")
        api = APIClient()
        api.credentials(HTTP_AUTHORIZATION=f"Bearer {text}")
        return api

    return client
