"""A key that is for reading or for selling alone is answered at every address of the API."""

import pytest
from django.urls import reverse

from apiary_sales.accounts.models import ApiToken
from tests import builders
from tests.api.test_every_reading import names

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("scopes", [ApiToken.Scopes.READ, ApiToken.Scopes.SELL])
def test_every_address_answers_a_key_that_is_not_for_all(client, scopes):
    key = {"Authorization": builders.authorization("stand"), "Idempotency-Key": "walk"}
    ApiToken.objects.update(scopes=scopes)
    answers = {}

    for name, sample in names():
        if not name.startswith("api:"):
            continue
        url = reverse(name, kwargs=sample)
        read = client.get(url, headers=key)
        acted = client.post(url, {}, content_type="application/json", headers=key)
        answers[name] = (read.status_code, acted.status_code)

    assert {name: codes for name, codes in answers.items() if max(codes) >= 500} == {}
    # Neither key decides about jars that came back.
    assert answers["api:returned-decide"][1] == 403
    assert answers["api:place-list"][0] == 200
