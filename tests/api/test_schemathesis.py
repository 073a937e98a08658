"""Requests made up from the description, right and wrong ones, are answered as it says.

In the usual run each role asks a few operations, others than the next role. With
SCHEMATHESIS_EXAMPLES=20 in the environment each role asks every operation 20 times. The requests
are the same in every run.
"""

import os
import unicodedata
from functools import cache
from typing import Any

import pytest
import schemathesis
from django.test.client import ClientHandler
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.core.failures import AcceptedNegativeData, Failure, FailureGroup
from schemathesis.openapi.checks import RejectedPositiveData

from tests import builders
from tests.api import described

pytestmark = pytest.mark.django_db

NOBODY = "nobody"
ROLES = ("owner", "office", "bottling", "stand", NOBODY)
EXAMPLES = int(os.environ.get("SCHEMATHESIS_EXAMPLES", "0"))
# In the usual run a role asks one operation of so many.
SPREAD = 1 if EXAMPLES else 3 * len(ROLES)
SETTINGS = settings(
    max_examples=EXAMPLES or 2,
    derandomize=True,
    database=None,
    deadline=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)

# What a check calls a failure and is none, each with the reason.
EXPLAINED = {
    RejectedPositiveData: (
        "A body of the right form is refused for what the books hold, which no form says: a code "
        "or id must be of something that is there, one field may need or exclude another (400, "
        "with the field), and figures must fit the books (422). A version that is made up "
        "(`If-Match`) is not the one that is there (412), or is no strong ETag (400)."
    ),
    AcceptedNegativeData: (
        "A parameter that is sent empty (`?since=`) is as one that is left out, as in the forms of "
        "the pages. An act on an earlier version (412) is refused whatever else is wrong with it. "
        "What is wrong with a sale of several is told in its own result. Control marks are taken "
        "out of a text before it is measured."
    ),
}


def application(environ: dict[str, Any], start_response: Any) -> list[bytes]:
    """Answer as the service does, within the transaction of the test."""
    response = ClientHandler()(environ)
    status = f"{response.status_code} {response.reason_phrase}"
    start_response(status, list(response.headers.items()))
    return [b"".join(response)]


@cache
def operations() -> list[Any]:
    """Return every operation of the description."""
    schema = schemathesis.openapi.from_dict(described.description())
    schema.app = application
    return [found.ok() for found in schema.get_all_operations()]


def is_explained(failure: Failure, case: Any, response: Any) -> bool:
    if type(failure) not in EXPLAINED:
        return False
    if response.status_code == 412:
        return True
    if isinstance(failure, RejectedPositiveData):
        is_about_version = "If-Match" in response.json()["detail"]
        return is_about_version or response.status_code == 422 or bool(response.json()["errors"])
    if case.operation.path.endswith("/bulk/") or has_control_marks(case.body):
        return True
    return "" in (case.query or {}).values()


def has_control_marks(body: Any) -> bool:
    if isinstance(body, str):
        return any(unicodedata.category(sign) in ("Cc", "Cf") for sign in body)
    if isinstance(body, dict):
        return any(has_control_marks(value) for value in body.values())
    return isinstance(body, list) and any(has_control_marks(value) for value in body)


def faults_of(case: Any, headers: dict[str, str]) -> set[str]:
    """Return what the checks find in the answer to one request, without what is explained."""
    response = case.call(headers=headers)
    try:
        case.validate_response(response, headers=headers, transport_kwargs={"headers": headers})
    except FailureGroup as group:
        return {
            f"{case.operation.label}: {failure.title}: {failure.message}\n"
            f"{case.as_curl_command(headers)}\n{response.status_code} {response.content[:1000]!r}"
            for failure in group.exceptions
            if not is_explained(failure, case, response)
        }
    return set()


def faults_of_operation(operation: Any, headers: dict[str, str]) -> set[str]:
    cases = [operation.as_strategy(generation_mode=mode) for mode in GenerationMode]
    found: set[str] = set()

    @SETTINGS
    @given(case=st.one_of(*cases))
    def ask(case: Any) -> None:
        found.update(faults_of(case, headers))

    ask()
    return found


@pytest.mark.parametrize("role", ROLES)
def test_requests_made_up_from_the_description_are_answered_as_it_says(role):
    headers = {} if role == NOBODY else {"Authorization": builders.authorization(role)}

    faults: set[str] = set()
    for operation in operations()[ROLES.index(role) :: SPREAD]:
        faults |= faults_of_operation(operation, headers)

    assert len(operations()) > 500
    assert not faults, "\n\n".join(sorted(faults))
