"""What the description says of each operation: its subject, what it does, and who may do it."""

from types import ModuleType
from typing import Any

from drf_spectacular.plumbing import get_lib_doc_excludes
from rest_framework.permissions import SAFE_METHODS, AllowAny

from apiary_sales.accounts.roles import ROLE_PERMISSIONS
from apiary_sales.api import subjects
from apiary_sales.api.authentication import scopes_for
from apiary_sales.api.schema import ApiSchema


class OperationSchema(ApiSchema):
    """Reads all of it from the view: its docstrings, its address and its permissions.

    A view that asks for more than it names says so in `who_may`.
    """

    def get_operation(self, path: str, *args: Any, **kwargs: Any) -> dict[str, Any] | None:
        """Describe an operation: the first paragraph of what it says is its summary.

        What follows is its description, with who may do it. `x-permissions` are the names of the
        permissions, `x-roles` the roles that have them, `x-scopes` which keys it is for, for
        programs; without them it is for everybody, signed in or not.
        """
        operation = super().get_operation(path, *args, **kwargs)
        if operation is None:
            return None
        first, _gap, rest = operation.get("description", "").partition("\n\n")
        operation.setdefault("summary", " ".join(first.split()))
        names = self._permissions()
        said = [rest, self._who(names)]
        if names is not None:
            scopes = [str(scope) for scope in scopes_for(type(self.view), self.method)]
            said.append(f"For keys with the scope {' or '.join(f'`{each}`' for each in scopes)}.")
            operation |= {
                "x-permissions": list(names),
                "x-roles": self._roles(names),
                "x-scopes": scopes,
            }
        operation["description"] = "\n\n".join(part for part in said if part)
        return operation

    def get_tags(self) -> list[str]:
        subject = subjects.of(self.path)
        return [subject.slug] if subject else []

    def get_operation_id(self) -> str:
        # Generators of clients make names of it, in which there is no point.
        return super().get_operation_id().replace(".", "_").replace("__", "_")

    def _permissions(self) -> tuple[str, ...] | None:
        """Return what is needed: none for who is signed in at all, None for everybody."""
        view: Any = self.view
        if AllowAny in view.permission_classes:
            return None
        wanted = getattr(view, "permission_required", None)
        if self.method in SAFE_METHODS:
            wanted = getattr(view, "permission_to_read", wanted)
            for permission in view.permission_classes:
                wanted = getattr(permission, "wanted_to_read", wanted)
        return (wanted,) if isinstance(wanted, str) else tuple(wanted or ())

    def _is_one_enough(self) -> bool:
        return getattr(self.view, "one_permission_is_enough", False)

    def _roles(self, names: tuple[str, ...]) -> list[str]:
        enough = any if names and self._is_one_enough() else all
        return [
            str(role)
            for role, may in ROLE_PERMISSIONS.items()
            if enough(name in may for name in names)
        ]

    def _who(self, names: tuple[str, ...] | None) -> str:
        if names is None:
            return "For everybody, without a key."
        if said := getattr(self.view, "who_may", ""):
            return said
        if not names:
            return "For everybody who is signed in."
        needed = (" or " if self._is_one_enough() else " and ").join(f"`{each}`" for each in names)
        return f"Needs {needed}: {', '.join(self._roles(names))}."


def name_subjects(result: dict[str, Any], generator: Any, **kwargs: Any) -> dict[str, Any]:
    """Say what each tag stands for, in the order of the pages."""
    result["tags"] = [
        {"name": subject.slug, "description": str(subject.title)} for subject in subjects.SUBJECTS
    ]
    return result


def not_described() -> list[type]:
    """Return the classes whose docstrings are for us, and say nothing of what derives from them."""
    from apiary_sales.api import answers, bases, readings, views

    bare = (answers, bases, readings)
    own = [each for module in bare for each in vars(module).values() if _is_of(module, each)]
    return [*get_lib_doc_excludes(), *own, views.ApiActView, views.ReadOnlyViewSet]


def _is_of(module: ModuleType, each: Any) -> bool:
    return isinstance(each, type) and each.__module__ == module.__name__
