"""What a person might write, and what nobody would: scenarios, programs, prices, measurements, command lines, by grammar.

Each maker takes a seeded `random.Random` and returns text. About half of what comes out is sound, so that what lies
behind the first check is reached as well.
"""

from __future__ import annotations

import random
from functools import cache
from importlib import resources
from pathlib import Path

from beltspring.sim.scenario.fields import Key
from beltspring.sim.scenario.index import all_keys, dotted
from beltspring.sim.scenario.source import shipped_scenarios
from beltspring.sim.study.fit.fields import Field
from beltspring.sim.study.fit.measured import FIELDS
from beltspring.viz.commands import COMMANDS

STRANGE = [
    "",
    " ",
    "\t",
    "\x1b[31m",
    "\u202e",
    "ζ",
    "机",
    "a.b",
    "'",
    '"',
    "\\",
    "nan",
    "inf",
    "-inf",
    "true",
    "none",
    "\ufeff",
]
NUMBERS = [
    "0",
    "-0.0",
    "1e308",
    "-1e308",
    "1e-320",
    "nan",
    "inf",
    "-inf",
    "9" * 400,
    "0x7f",
    "1_0",
    "1979-05-27",
    "5e-324",
]
#: Commands that open a window, or take long by their nature.
SLOW = ("watch", "film", "search", "improve", "spread", "fit", "compare", "limits")
WORDS = "GMXYZEFIJRPSTNHQ"
CODES = [
    "0",
    "1",
    "2",
    "3",
    "4",
    "5",
    "10",
    "17",
    "18",
    "20",
    "21",
    "28",
    "38.2",
    "80",
    "81",
    "90",
    "91",
    "92",
    "92.1",
    "999",
]
M_CODES = ["0", "2", "30", "82", "83", "704", "717", "627.5"]


@cache
def shipped_texts() -> tuple[str, ...]:
    """The text of every shipped scenario."""
    return tuple(shipped.path.read_text(encoding="utf-8") for shipped in shipped_scenarios())


@cache
def keys() -> tuple[tuple[str, Key], ...]:
    """Every key with what is known of it."""
    return tuple((dotted(path), key) for path, key in all_keys() if "variant" not in path)


def number(r: random.Random, low: float = -1e3, high: float = 1e3) -> str:
    """A number: within, at an end, just beyond, or none at all."""
    kind = r.random()
    if kind < 0.5:
        return f"{r.uniform(low, high):.{r.randint(0, 6)}g}"
    if kind < 0.65:
        return repr(r.choice([low, high]))
    if kind < 0.75:
        return repr(r.choice([low - 1, high + 1, 2 * high, high * 1e9]))
    return r.choice(NUMBERS) if kind < 0.85 else str(r.randint(-5, 5000))


def value(r: random.Random, key: Key) -> str:
    """A value for a key, as TOML."""
    kind = r.random()
    if kind < 0.1:
        return r.choice(["true", "[]", "[1]", "{}", "{ a = 1 }", "1979-05-27", "'''x\n'''", '"', "[[["])
    if kind < 0.2:
        return f'"{r.choice(STRANGE)}"'
    choices = key.choices() if key.choices else ()
    if choices:
        picked = r.choice(choices)
        return f'"{picked}"' if isinstance(picked, str) else str(picked)
    if key.low is not None and key.high is not None:
        return number(r, key.low, key.high)
    return f'"{r.choice(["x", "motion", *STRANGE])}"'


def change(r: random.Random) -> str:
    """`key=value` for --set."""
    name, key = r.choice(keys())
    if r.random() < 0.05:
        name = r.choice([name[:-1], name + "s", name.replace(".", ".."), "." + name, name + "." + r.choice(STRANGE)])
    return f"{name}={value(r, key)}"


def scenario(r: random.Random) -> str:
    """A scenario: a shipped one with lines changed, keys added, bytes fallen over."""
    lines = r.choice(shipped_texts()).split("\n")
    for _ in range(r.choice([0, 0, 1, 1, 2, 3, 8])):
        at, kind = r.randrange(len(lines)), r.random()
        if kind < 0.45:
            name, key = r.choice(keys())
            table, _, last = name.rpartition(".")
            lines += [f"[{table}]" if table and f"[{table}]" not in lines else "", f"{last} = {value(r, key)}"]
        elif kind < 0.6:
            lines[at] = lines[at].partition("=")[0] + "= " + number(r)
        elif kind < 0.7:
            del lines[at]
        elif kind < 0.8:
            lines.insert(at, r.choice(lines))
        elif kind < 0.9:
            name, key = r.choice(keys())
            lines += [
                "[[variant]]",
                f'name = "{r.choice(["a", "b", *STRANGE[2:6]])}"',
                f'set = {{ "{name}" = {value(r, key)} }}',
            ]
        else:
            spot = r.randrange(len(lines[at]) + 1)
            lines[at] = (
                lines[at][:spot]
                + r.choice(["[", "]", "=", '"', "\x00", "\x1b", ".", "#", "\r"])
                + lines[at][spot + 1 :]
            )
        if not lines:
            lines = [""]
    return "\n".join(lines)


def _word(r: random.Random) -> str:
    letter = r.choice(WORDS)
    if letter == "G":
        return "G" + r.choice(CODES)
    if letter == "M":
        return "M" + r.choice(M_CODES)
    shown = (
        number(r, 0, 120 if letter in "XYZ" else 20)
        if r.random() < 0.9
        else r.choice(["", ".", "-", "1.2.3", "--1", "+"])
    )
    return (letter.lower() if r.random() < 0.1 else letter) + r.choice(["", "", "", " "]) + shown


def program(r: random.Random) -> str:
    """A motion program."""
    lines = ["G90 G21 F6000", "G0 X20 Y20"] if r.random() < 0.8 else []
    for _ in range(r.choice([1, 3, 10, 40])):
        kind = r.random()
        if kind < 0.5:
            x, y = f"{r.uniform(0, 100):.3f}", f"{r.uniform(0, 100):.{r.randint(0, 9)}f}"
            lines.append(f"G{r.choice('01')} X{x} Y{y}" + r.choice(["", " E1"]))
        elif kind < 0.65:
            lines.append(
                f"G{r.choice('23')} {r.choice(['I', 'J', 'R'])}{r.choice(['1', '5', '1e-3', '0.000001', '-3'])}"
            )
        elif kind < 0.9:
            lines.append(" ".join(_word(r) for _ in range(r.randint(1, 6))))
        elif kind < 0.95:
            lines.append(
                r.choice(["(", "()", "; x", "*7", "%", "/G1 X1", "M717 " + r.choice(STRANGE), "\x00", "X" * 300])
            )
        else:
            lines.append(r.choice(["G4 P0.1", "G4 P1e9", "G92 E0", "G91", "G90", "G20", "M2"]))
    return r.choice(["\n", "\r\n", "\r"]).join(lines)


def prices(r: random.Random) -> str:
    """A price file: the example with lines changed."""
    folder = resources.files("beltspring.sim.order")
    lines = folder.joinpath("prices-example.toml").read_text(encoding="utf-8").split("\n")
    for _ in range(r.choice([0, 1, 2, 5])):
        at, kind = r.randrange(len(lines)), r.random()
        if kind < 0.4:
            lines[at] = (
                lines[at].partition("=")[0]
                + "= "
                + r.choice([number(r), "{}", "[]", '"x"', "{ 1000 = 1 }", "{ a = 1 }"])
            )
        elif kind < 0.6:
            lines[at] = f'"{r.choice(STRANGE)}" = {number(r)}'
        elif kind < 0.8:
            lines.insert(
                at, r.choice(["[each]", "[stock]", "[foo]", "each = 1", "a." * 40 + "b = 1", "x = " + "[" * 200])
            )
        else:
            del lines[at]
    return "\n".join(lines)


#: Measurements as somebody writes them, one of each kind.
SOUND = {
    "ripples": ['axis = "x"', "speed_mm_s = 120", "spacing_mm = 1.4"],
    "pitch": ['run = "a left"', "free_mm = 230", "hz = 92.5"],
    "push": ['axis = "y"', "force_n = 10", "gives_um = 130"],
    "weighed": ['key = "carriage.mass_g"', "value = 412"],
    "record": ['file = "samples.csv"', "at_mm = [0, 20, -15]"],
}


def _measured_value(r: random.Random, field: Field) -> str:
    kind = r.random()
    if kind < 0.3:
        return r.choice(["true", "[]", "{}", "[[1]]", "1979-05-27", f'"{r.choice(STRANGE[:14])}"', *NUMBERS[:6]])
    if field.table:
        name, key = r.choice(keys())
        return r.choice(
            ["{}", f'{{ "{name}" = {value(r, key)} }}', "{ move = { size_mm = 20 } }", "{ move = { a = {} } }"]
        )
    if field.choices:
        return f'"{r.choice(field.choices)}"'
    if field.text:
        return r.choice(
            ['"b right"', '"belts.ea_n"', '"samples.csv"', '"nowhere.wav"', '"/dev/zero"', '"."', '"a"', '""']
        )
    if field.count > 1:
        return "[" + ", ".join(number(r, -100, 100) for _ in range(field.count + r.choice([0, 0, 0, 1, -1]))) + "]"
    return number(r, max(field.low, -1e9), min(field.high, 1e9))


def measured(r: random.Random) -> str:
    """A file of measurements: sound ones with keys changed, added, left out and misspelt."""
    lines: list[str] = []
    for _ in range(r.choice([1, 1, 2, 4])):
        kind = r.choice(list(FIELDS))
        rows = list(SOUND.get(kind, []))
        for _ in range(r.choice([0, 0, 1, 2])):
            name, field = r.choice(list(FIELDS[kind].items()))
            rows = [row for row in rows if not row.startswith(f"{name} ")]
            rows.append(f"{r.choice([name] * 9 + [name[:-1], name.upper()])} = {_measured_value(r, field)}")
        if rows and r.random() < 0.1:
            rows.pop(r.randrange(len(rows)))
        lines += [r.choice([f"[[{kind}]]"] * 20 + [f"[{kind}]", f"[[{kind}s]]", f"[[{kind}", f"{kind} = 3"]), *rows]
    return "\n".join(lines)


def samples(r: random.Random) -> str:
    """A sensor's samples as CSV: a whole record with cells, columns and rows that went wrong."""
    head = [
        r.choice(["t_s", "t_s", "t_ms", "t_us", "t", "time"]),
        *(f"a{a}_{r.choice(['g', 'm_s2', 'mg', 'm_s2'])}" for a in "xyz"),
    ]
    step = {"t_ms": 10.0, "t_us": 1e4}.get(head[0], 0.01)
    rows = [[f"{n * step:.6g}", *(f"{r.gauss(0, 3):.4g}" for _ in head[1:])] for n in range(r.choice([3, 60, 60, 200]))]
    for _ in range(r.choice([0, 0, 1, 2, 5])):
        row, kind = r.choice(rows), r.random()
        if kind < 0.6 and row:
            row[r.randrange(len(row))] = r.choice([*NUMBERS, *STRANGE, "1;2", "3,5", "0"])
        elif kind < 0.8:
            row.append("1") if r.random() < 0.5 else row.clear()
        else:
            head[r.randrange(len(head))] = r.choice(["", "ax", "ax_g", "t_s", "x", *STRANGE])
    return r.choice(["\n", "\n", "\r\n", "\r"]).join(",".join(cells) for cells in [head, *rows])


def command_line(r: random.Random, folder: Path) -> list[str]:
    """A command line; nothing in it opens a window, makes a film or takes long."""
    quick = [command.name for command in COMMANDS if command.name not in SLOW]
    line = [r.choice([*quick, "rum", "", "-h", r.choice(STRANGE)])]
    line.append(r.choice(["spring-mass", "spring-mass", "desk-corexy", "sprang-mass", *STRANGE]))
    for _ in range(r.choice([0, 1, 1, 2, 3])):
        line += r.choice([
            ["--json"], ["--quiet"], ["--set", change(r)], ["--set", r.choice(STRANGE)], [f"--set={change(r)}"],
            ["--out", str(folder / r.choice(["a", "b", "c/d", "f.txt"]))], ["--replace"], ["--variant", r.choice(STRANGE)],
            ["--variant", "softer"], ["--jason"], ["--prices", r.choice(["example", *STRANGE])], ["--set"], ["--out"],
        ])  # fmt: skip
    return [word.replace("\x00", "0") for word in line]
