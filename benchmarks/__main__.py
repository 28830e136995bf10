"""Name every benchmark, with the first sentence of what it says of itself."""

from __future__ import annotations

import ast
from pathlib import Path

HERE = Path(__file__).parent


def benchmarks() -> dict[str, str]:
    """Names of the modules that can be run, and their first lines."""
    found = {}
    for path in sorted(HERE.glob("*/**/*.py")):
        text = path.read_text(encoding="utf-8")
        if '__name__ == "__main__"' in text:
            doc = ast.get_docstring(ast.parse(text)) or ""
            name = ".".join(path.relative_to(HERE.parent).with_suffix("").parts)
            found[name] = doc.splitlines()[0]
    return found


if __name__ == "__main__":
    for name, line in benchmarks().items():
        print(f"python -m {name:48} {line}")
