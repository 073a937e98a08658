"""Short names that stand in addresses: made once from the name, never changed after."""

from django.db.models import CharField, Model
from django.utils.text import slugify

# Words that stand in the same addresses for pages of their own.
TAKEN_WORDS = {"add", "make", "receive", "usual"}


def free(model: type[Model], name: str, fallback: str) -> str:
    """Return a short name that no row of `model` has, made from `name` or else `fallback`."""
    field = model._meta.get_field("code")
    assert isinstance(field, CharField)
    assert field.max_length is not None
    stem = slugify(name)[: field.max_length - 4] or fallback
    taken = set(model._default_manager.filter(code__startswith=stem).values_list("code", flat=True))
    taken |= TAKEN_WORDS
    code, number = stem, 1
    while code in taken:
        number += 1
        code = f"{stem}-{number}"
    return code
