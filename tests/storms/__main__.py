"""The command of `tests.storms`; see there."""

import argparse
import sys

from tests import postgresql
from tests.storms import storm

parser = argparse.ArgumentParser(prog="python -m tests.storms", description=__doc__)
parser.add_argument("--kills", type=int, default=60, help="how often it is killed (60)")
parser.add_argument("--seed", type=int, default=1, help="begin the chance with this number (1)")
parser.add_argument("--database", choices=["sqlite", "postgresql"], help="on this one alone")
options = parser.parse_args()

for vendor in [options.database] if options.database else ["sqlite", "postgresql"]:
    if vendor == "postgresql" and postgresql.programs() is None:
        sys.exit("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    try:
        storm.strike(vendor, options.kills, options.seed)
    except storm.Fault as fault:
        sys.exit(f"{vendor}: {fault}")
