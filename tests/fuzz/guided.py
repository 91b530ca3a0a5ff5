"""The readers of scenarios and of motion programs, thrown what reaches new lines of them: guided by coverage. By hand.

    pip install -e '.[fuzz]'                                         Linux on x86-64 only: elsewhere there are no wheels
    python -m tests.fuzz.guided program --minutes 60 --seed 7
    python -m tests.fuzz.guided scenario --minutes 60 --corpus here   what reaches new lines is kept there, to go on from

It begins with what the grammar makes. The loops of the program reader run as plain Python, so that their lines count.
What falls over is made small and kept beside the other cases (`campaign.keep`), and the run ends.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import tempfile
from pathlib import Path

os.environ["NUMBA_DISABLE_JIT"] = "1"

SEEDS = 60
LONGEST_INPUT = 4096


def by_hand() -> None:
    """Fuzz for as long as asked; libFuzzer ends the process."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz.guided", description=__doc__)
    parser.add_argument("reader", choices=["scenario", "program"])
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--corpus", type=Path, help="a folder for what reaches new lines; none: nothing is kept")
    asked = parser.parse_args()
    try:
        import atheris
    except ImportError:
        raise SystemExit("the extra [fuzz] is not installed; it has wheels for Linux on x86-64 only") from None
    with atheris.instrument_imports(include=["beltspring.sim"]):
        from tests.fuzz import campaign, grammar, readers

    place = Path(tempfile.mkdtemp(prefix="beltspring-guided-"))
    corpus = asked.corpus or place / "corpus"
    corpus.mkdir(parents=True, exist_ok=True)
    r = random.Random(asked.seed)
    make, read = (
        (grammar.scenario, readers.scenario) if asked.reader == "scenario" else (grammar.program, readers.program)
    )
    for n in range(SEEDS):
        (corpus / f"seed-{n}").write_text(make(r), encoding="utf-8", newline="")
    campaign.KINDS[asked.reader] = (make, read, 1.0)

    def one(data: bytes) -> None:
        text = data.decode("utf-8", "replace")
        fault = campaign.fault_of(asked.reader, text, place)
        if fault is not None:
            print(f"{fault}\n  {campaign.keep(asked.reader, campaign.smaller(asked.reader, text, fault, place))}")
            raise RuntimeError(fault)

    limits = [
        f"-max_total_time={60 * asked.minutes:.0f}",
        f"-seed={asked.seed}",
        f"-max_len={LONGEST_INPUT}",
        "-timeout=0",
    ]
    atheris.Setup([sys.argv[0], *limits, f"-artifact_prefix={place}/", str(corpus)], one)
    atheris.Fuzz()


if __name__ == "__main__":
    by_hand()
