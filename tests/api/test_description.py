"""The description of the API is OpenAPI 3.1, and each operation says how it refuses."""

from openapi_spec_validator import OpenAPIV31SpecValidator

from tests.api import described


def test_the_description_is_openapi_3_1():
    assert described.description()["openapi"].startswith("3.1.")
    assert [
        error.message for error in OpenAPIV31SpecValidator(described.description()).iter_errors()
    ] == []


def test_nothing_is_said_in_the_words_of_older_versions():
    """`nullable` is ignored in OpenAPI 3.1: what may be null says so in its type."""

    def names(part):
        if isinstance(part, dict):
            yield from part
        for each in part.values() if isinstance(part, dict) else part:
            if isinstance(each, dict | list):
                yield from names(each)

    assert "nullable" not in set(names(described.description()))


def test_every_operation_says_how_it_refuses():
    """What it is sent may be wrong; who asks may be unknown, or not allowed to."""
    wanted = {}
    for path, operations in described.description()["paths"].items():
        for method, operation in operations.items():
            statuses = {"400", "406"}
            if path != "/api/v1/token/":
                statuses |= {"401", "403"}
            if "{" in path:
                statuses.add("404")
            if method != "get":
                statuses |= {"413", "415"}
            if missing := statuses - set(operation["responses"]):
                wanted[method, path] = missing

    assert wanted == {}
