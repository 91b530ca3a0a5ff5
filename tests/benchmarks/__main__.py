"""All tables, one after the other: python -m tests.benchmarks [simple] [full] [batch] [waiting] [start] [plan] [window] [long]"""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path

#: Detail simple and its peers; detail full and its peers; judged runs a second; what a person waits for; start-up; planning;
#: the window's frames; a million lines.
ALL = ("simple", "full", "batch", "waiting", "start", "plan", "window", "long")


def main() -> int:
    """Run the named tables, or all of them, each in a process of its own so that none warms up another."""
    names = sys.argv[1:] or list(ALL)
    unknown = [name for name in names if name not in ALL]
    if unknown:
        print(f"no table {', '.join(unknown)}; there are {', '.join(ALL)}", file=sys.stderr)
        return 2
    failed = 0
    for name in names:
        module = f"tests.benchmarks.bench_{name}"
        found = importlib.util.find_spec(module)
        doc = Path(found.origin).read_text(encoding="utf-8").split('"""')[1] if found and found.origin else ""
        print(f"\n== {name}: {doc.splitlines()[0] if doc else module}", flush=True)
        failed |= subprocess.run([sys.executable, "-m", module], check=False).returncode
    return failed


if __name__ == "__main__":
    raise SystemExit(main())
