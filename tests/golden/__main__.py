"""Store the golden numbers anew, and tell how far they moved."""

from __future__ import annotations

import json

from .numbers import STORE, names, numbers

before = json.loads(STORE.read_text(encoding="utf-8")) if STORE.exists() else {}
now = {name: numbers(name) for name in names()}
for name, own in now.items():
    for key, value in own.items():
        old = before.get(name, {}).get(key)
        if old != value:
            share = "" if not old or value is None else f" ({value / old - 1:+.2%})"
            print(f"{name}: {key}: {old} -> {value}{share}")
STORE.write_text(json.dumps(now, indent=1) + "\n", encoding="utf-8")
