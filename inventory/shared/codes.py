"""Short names that stand in addresses: made once from the name, never changed after."""

from django.db.models import Model
from django.utils.text import slugify

# Words that stand in the same addresses for pages of their own.
TAKEN_WORDS = {"add", "receive", "usual"}


def free(model: type[Model], name: str, fallback: str) -> str:
    """Return a short name that no row of `model` has, made from `name` or else `fallback`."""
    length_max = model._meta.get_field("code").max_length
    stem = slugify(name)[: length_max - 4] or fallback
    taken = set(model.objects.filter(code__startswith=stem).values_list("code", flat=True))
    taken |= TAKEN_WORDS
    code, number = stem, 1
    while code in taken:
        number += 1
        code = f"{stem}-{number}"
    return code
