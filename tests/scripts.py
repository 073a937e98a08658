"""Call the functions of a page script without a page: one process of Node for a whole table."""

import json
import os
import shutil
import subprocess
from base64 import b64encode
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from tests import skips

NODE = os.environ.get("NODE", "") or shutil.which("node") or shutil.which("nodejs")

# The script is imported as a data address, since Node takes a plain .js file for an older kind of
# module. Errors with a code are answers; any other ends the process.
HARNESS = """
const {address, name, calls} = JSON.parse(require("fs").readFileSync(0, "utf8"));
const answer = (act, values) => {
  try {
    return {value: act(...values)};
  } catch (error) {
    if (!error.code) throw error;
    return {refused: error.code};
  }
};
import(address).then((script) => {
  const answers = calls.map((values) => answer(script[name], values));
  const plain = (_, value) => (value instanceof Map ? Object.fromEntries(value) : value);
  process.stdout.write(JSON.stringify(answers, plain));
});
"""


def call(script: Path, name: str, calls: Iterable[list[Any]]) -> list[Any]:
    """Return what the exported function `name` answers to each list of values, in their order.

    A Map is answered as an object, and an error that carries a code as {"refused": code}.
    Without Node the test is skipped, and fails where CI=true.
    """
    if not NODE:
        skips.skip("Node is not on this machine: install nodejs, or set NODE to its path.")
    source = b64encode(script.read_bytes()).decode("ascii")
    asked = {
        "address": f"data:text/javascript;base64,{source}",
        "name": name,
        "calls": list(calls),
    }
    done = subprocess.run(
        [NODE, "-e", HARNESS],
        input=json.dumps(asked),
        capture_output=True,
        encoding="utf-8",
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    return [
        answer["value"] if "refused" not in answer else answer for answer in json.loads(done.stdout)
    ]
