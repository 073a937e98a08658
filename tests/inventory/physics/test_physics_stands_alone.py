"""The physics may be read, copied and tested by anyone: it leans on nothing of the application."""

import ast
import sys
from pathlib import Path

from inventory import physics

FOLDER = Path(physics.__file__).parent


def test_it_imports_only_the_standard_library_pint_and_numpy():
    allowed = sys.stdlib_module_names | {"pint", "numpy"}
    files = sorted(FOLDER.glob("**/*.py"))

    imported = set()
    for file in files:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                imported |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.level == 0:
                imported.add(node.module.split(".")[0])

    assert len(files) > 8
    assert imported - allowed == set()
