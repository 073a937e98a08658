"""What the ledger tells the rooms above it, in the same transaction.

Stock knows neither runs nor orders. Whoever keeps a lot or a promise beside the ledger listens
here and follows.
"""

from django.dispatch import Signal

# Later entries were corrected because of an earlier one: `retold` is a `retelling.Retold`,
# `changed` the lots that are of other honey now, `person` who entered it.
entries_retold = Signal()

# Reserved stock is gone or of another lot: `balance` had it, `other` (or None) has it now, and
# `quantity` is how much of the promise moved; `person` is who recorded what happened, and `key` the
# key of that act.
promise_moved = Signal()

# A drum that is reserved was weighed again, and its promise was taken back: whoever keeps it beside
# the ledger promises the honey of `lot` that is in the `drum` now. `person` and `key` as above.
reserved_drum_weighed = Signal()

# Lots went on hold or were released: `lots` are those whose state changed, as they are now.
holds_changed = Signal()
