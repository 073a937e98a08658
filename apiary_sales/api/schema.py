"""What the OpenAPI description says of every operation."""

from typing import Any


def add_problems(result: dict[str, Any], generator: Any, **kwargs: Any) -> dict[str, Any]:
    """Say of every operation that any refusal is answered as problem details (RFC 9457)."""
    problem = {
        "description": "A refusal, as problem details.",
        "content": {
            "application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}
        },
    }
    for path in result["paths"].values():
        for operation in path.values():
            if isinstance(operation, dict) and "responses" in operation:
                operation["responses"].setdefault("default", problem)
    return result
