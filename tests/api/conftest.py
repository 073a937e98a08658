"""Whatever a test of the API is answered is as the description says."""

import pytest
from django.test import Client

from inventory.shared import conventions
from tests.api import described
from tests.conftest import usual_conventions


@pytest.fixture(autouse=True, scope="session")
def _description():
    """Make the description before any test has a house of other conventions."""
    conventions.use(usual_conventions())
    described.description()


@pytest.fixture(autouse=True)
def _answers_as_described(monkeypatch):
    """Compare every answer with the description; what that does not say fails the test."""
    ask = Client.request

    def compared(client, **environ):
        response = ask(client, **environ)
        asked = response.wsgi_request
        if asked.path_info.startswith("/api/v1/") and asked.method != "OPTIONS":
            faults = described.faults_of(response)
            assert faults == [], f"{asked.method} {asked.path_info} {response.status_code}"
        return response

    monkeypatch.setattr(Client, "request", compared)
