"""The numbers that a fit may turn: keys of the scenario file, each with its prior, in logarithms and sigmas of its band.

Everything that has a band is free, pretension and the friction of every body that moves as well. What makes the frame sway
(corners, members, panels) is measured as its two sway stiffnesses, whose bands follow from theirs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...errors import InputError
from ...machine.build import MASS_KEYS, build_machine, design_of, reframed, sway_stiffness, uncertain_numbers
from ...machine.machine import Machine
from ...model.build import build_model
from ...parts.design import BAND_SIGMA, Drawn, Uncertain
from ...scenario.bands import may_have_band
from ...scenario.fields import tidy
from ...scenario.index import EACH, all_keys, dotted, key_at
from ...scenario.load import with_changes
from ...scenario.schema import Scenario
from ...scenario.telling import nearest
from .measured import Measured

#: Sigma of the logarithm where nobody knows more: of what was asked of the belts' pretension, and of a number that --free
#: names (our estimate: seldom more than a factor of two off).
WIDE = 0.35
#: How far a knob is turned at most, in sigmas of its band.
MOST_SIGMA = 5.0
FRAME = ("materials", "frames", "joints", "panels")
#: What the torque's own knob stands for as well: torque follows current over rated current.
WITH_TORQUE = "rated_current_a"
FRICTION, STATIC = "friction_n", "friction_static_n"


@dataclass(frozen=True)
class Knob:
    """One free number. number: its prior, in file units of `key`.  shares: of each of its `keys`, its value over the number's.

    follows: for each key that of another, with whose value it goes: break-away friction is so many times sliding friction.
    """

    number: Uncertain
    shares: tuple[float, ...]
    follows: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """Its key in the file, the first where it stands for several."""
        return self.number.key

    @property
    def linear(self) -> bool:
        """Whether it is turned by itself, not by its logarithm: its value is zero."""
        return self.number.value == 0.0

    @property
    def width(self) -> float:
        """How far one turn goes: sigma of the logarithm, the mean of both sides; of a value of zero, sigma itself."""
        n = self.number
        return n.high / BAND_SIGMA if self.linear else float(np.log(n.high / n.low)) / (2 * BAND_SIGMA)

    @property
    def ends(self) -> tuple[float, float]:
        """The turns between which it is sought."""
        if self.linear:
            return 0.0, MOST_SIGMA
        found = key_at(tuple(self.key.split(".")))
        low, high = self.number.at(-MOST_SIGMA), self.number.at(MOST_SIGMA)
        if found is not None and found.low is not None and found.high is not None:
            low, high = max(low, found.low, 1e-12), min(high, found.high)
        return self.turn(low), self.turn(high)

    def value(self, turn: float) -> float:
        """Its value at a turn."""
        return turn * self.width if self.linear else float(self.number.value * np.exp(turn * self.width))

    def turn(self, value: float) -> float:
        """The turn of a value."""
        return value / self.width if self.linear else float(np.log(value / self.number.value)) / self.width

    def sigmas(self, turn: float) -> float:
        """How many sigmas of its prior it is off, which has two pieces."""
        if self.linear:
            return turn
        n = self.number
        side = np.log(n.high / n.value) if turn > 0 else np.log(n.value / n.low)
        return turn * self.width * BAND_SIGMA / max(float(side), 1e-9)

    def slope(self, turn: float) -> float:
        """Sigmas of its prior per turn there, at its value itself the mean of both sides."""
        step = 1e-6
        return (self.sigmas(turn + step) - self.sigmas(turn - step)) / (2 * step)


def written(knobs: Sequence[Knob], turns: Sequence[float]) -> dict[str, float]:
    """What all keys of some knobs are at these turns, in file units."""
    out: dict[str, float] = {}
    for knob, turn in zip(knobs, turns, strict=True):
        out |= {key: knob.value(turn) * share for key, share in zip(knob.number.keys, knob.shares, strict=True)}
    told = {k.key: k.number.value for k in knobs} | {
        key: k.number.value * s for k in knobs for key, s in zip(k.number.keys, k.shares, strict=True)
    }
    for knob in knobs:
        for key, with_key in zip(knob.number.keys, knob.follows, strict=False):
            if with_key in out and told[with_key] > 0:
                out[key] *= out[with_key] / told[with_key]
    # Breaking away takes no less than sliding, whatever ratio would explain a record.
    return {key: max(value, out.get(key.replace(STATIC, FRICTION), value)) for key, value in out.items()}


def drawn_of(values: Mapping[str, float]) -> Drawn:
    """These values in place of those that a scenario tells."""
    return Drawn(keys={tuple(key.split(".")): value for key, value in values.items()})


@dataclass(frozen=True)
class Free:
    """What is free. scenario: with every free number written out, so that it can be turned.  machine: of it."""

    scenario: Scenario
    machine: Machine
    knobs: tuple[Knob, ...]


def free_numbers(scenario: Scenario, measured: Measured, wanted: Sequence[str] = ()) -> Free:
    """The knobs of a scenario. wanted: keys that are free as well. Raises InputError for a key that cannot be."""
    scenario = _parted(scenario, measured)
    machine = build_machine(scenario)
    values = {o.key: o.value for o in machine.design.origins if isinstance(o.value, int | float)}
    moving = [f.name for f in build_model(machine).frictions]
    knobs = _banded(machine, values, moving)
    knobs += _sway(scenario, machine)
    held = {key for knob in knobs for key in knob.number.keys}
    for path, key in _pretensions(values):
        if key not in held:
            knobs.append(_knob(_wide(key, float(values[key]), path)))
    for key in (*wanted, *(w.key for w in measured.weighed)):
        if key not in held:
            knobs.append(_asked_for(key, values, key in wanted))
            held.add(key)
    exact = {key: values_of for knob in knobs for key, values_of in zip(knob.number.keys, _told(knob), strict=True)}
    full = with_changes(scenario, exact, "the fit")
    return Free(full, build_machine(full), tuple(knobs))


def _told(knob: Knob) -> list[float]:
    return [knob.number.value * share for share in knob.shares]


def _parted(scenario: Scenario, measured: Measured) -> Scenario:
    """Belts whose pitch was taken one by one have a pretension each."""
    belts = sorted({p.belt for p in measured.pitch})
    design = design_of(scenario)
    if len(belts) < 2 or not set(belts) <= set(design.belts):
        return scenario
    return with_changes(
        scenario, {f"belts.{b}.pretension_n": s.pretension_n for b, s in design.belts.items()}, "the fit"
    )


def _banded(machine: Machine, values: Mapping[str, float], moving: Sequence[str]) -> list[Knob]:
    """Knobs of what has a band, but for what makes the frame sway."""
    out: list[Knob] = []
    rated: dict[str, Uncertain] = {}
    for number in uncertain_numbers(machine):
        last = number.of[-1].rpartition(".")[2]
        if _of_frame(number):
            continue
        if number.of[0] == "mass" or number.of[0] == "file":
            out.append(_knob(number))
        elif last == "static_ratio":
            out += _static(machine, number, values, moving)
        elif last == WITH_TORQUE:
            rated[number.key.rpartition(".")[0]] = number
        elif last == FRICTION:
            # Two guides of one kind have not the same friction: how well each is aligned decides.
            out += [_knob(_at_key(number, key, values)) for key in number.keys if _acts(key, moving)]
        else:
            out += _shared(number, values, moving)
    return [_with_rated(knob, rated) for knob in out]


def _of_frame(number: Uncertain) -> bool:
    last = number.of[-1].rpartition(".")[2]
    sways = number.of[0] in FRAME or number.key.startswith("frame.")
    return (
        sways
        and last not in ("damping", "stiffness_x_n_per_mm", "stiffness_y_n_per_mm")
        and not last.endswith("_g")
        and (number.of[0] != "mass")
    )


def _acts(key: str, moving: Sequence[str]) -> bool:
    """Whether a guide's number belongs to a body that slides in the model; any other number does."""
    table = key.partition(".")[0]
    return table not in ("carriage", "gantry", "bed") or table in {_table_of(name) for name in moving}


def _table_of(body: str) -> str:
    """The table of the file that a body's guide stands in."""
    return next((t for t in ("carriage", "gantry", "bed") if body.startswith(t)), body)


def _at_key(number: Uncertain, key: str, values: Mapping[str, float]) -> Uncertain:
    """A part's number as it stands at one of its keys: a guide of two rods has twice the friction of one."""
    times = float(values[key]) / number.value
    return replace(
        number, key=key, keys=(key,), value=number.value * times, low=number.low * times, high=number.high * times
    )


def _shared(number: Uncertain, values: Mapping[str, float], moving: Sequence[str]) -> list[Knob]:
    """One knob for a part's number wherever it is used and acts."""
    keys = tuple(k for k in number.keys if key_at(tuple(k.split("."))) is not None and k in values and _acts(k, moving))
    if not keys or number.value <= 0:
        return []
    first = _at_key(number, keys[0], values)
    shares = tuple(float(values[k]) / first.value for k in keys)
    return [Knob(replace(first, keys=keys), shares)]


def _static(machine: Machine, number: Uncertain, values: Mapping[str, float], moving: Sequence[str]) -> list[Knob]:
    """Break-away over sliding friction: where the file has the one, it is the other's with the guide's ratio."""
    computed = {o.key for o in machine.design.origins if o.origin == "computed"}
    specs = {
        "carriage": machine.design.carriage.guide,
        "gantry": machine.design.gantry.guide,
        "bed": machine.design.bed.guide,
    }
    keys = [
        f"{table}.{STATIC}"
        for table, spec in specs.items()
        if spec is not None and spec.part == number.of[1] and f"{table}.{STATIC}" in computed
        and _acts(f"{table}.{STATIC}", moving)
    ]  # fmt: skip
    if not keys:
        return []
    first = float(values[keys[0]])
    times = first / number.value
    told = replace(
        number, key=keys[0], keys=tuple(keys), value=first, low=number.low * times, high=number.high * times, unit="N"
    )
    shares = tuple(float(values[k]) / first for k in keys)
    return [Knob(told, shares, tuple(k.replace(STATIC, FRICTION) for k in keys))]


def _with_rated(knob: Knob, rated: Mapping[str, Uncertain]) -> Knob:
    """The torque's knob, as wide as torque over rated current: a motion tells them only together."""
    table, _, last = knob.key.rpartition(".")
    if last != "holding_torque_nm" or table not in rated:
        return knob
    n, other = knob.number, rated[table]
    down = np.hypot(np.log(n.value / n.low), np.log(other.high / other.value))
    up = np.hypot(np.log(n.high / n.value), np.log(other.value / other.low))
    return replace(knob, number=replace(n, low=float(n.value * np.exp(-down)), high=float(n.value * np.exp(up))))


def _sway(scenario: Scenario, machine: Machine) -> list[Knob]:
    """Knobs of the frame's two sway stiffnesses, where they follow from its beams, their bands by squares."""
    computed = {o.key for o in machine.design.origins if o.origin == "computed"}
    keys = [f"frame.stiffness_{axis}_n_per_mm" for axis in "xy"]
    if machine.frame_stiffness is None:
        return []
    things: dict[tuple[str, ...], list[Uncertain]] = {}
    for number in uncertain_numbers(machine):
        if _of_frame(number):
            things.setdefault(number.draw, []).append(number)
    squares = np.zeros((2, 2))
    for together in things.values():
        for sigmas in (-BAND_SIGMA, BAND_SIGMA):
            drawn = Drawn()
            for number in together:
                drawn.put(number, number.at(sigmas))
            other = reframed(machine, design_of(scenario, drawn))
            for axis in (0, 1):
                change = float(np.log(sway_stiffness(other, axis) / sway_stiffness(machine, axis)))
                squares[axis, int(change > 0)] += change**2
    out = []
    for axis, key in enumerate(keys):
        if key in computed:
            value = sway_stiffness(machine, axis) / 1e3
            down, up = np.maximum(np.sqrt(squares[axis]), 0.02)
            of = ("file", key)
            low, high = float(value * np.exp(-down)), float(value * np.exp(up))
            out.append(_knob(Uncertain(key, (key,), value, low, high, "N/mm", "corners, members and panels", of, of)))
    return out


def _knob(number: Uncertain) -> Knob:
    keys = number.keys[:1]
    return Knob(replace(number, key=keys[0], keys=keys), (1.0,))


def _wide(key: str, value: float, reason: str) -> Uncertain:
    unit = getattr(key_at(tuple(key.split("."))), "unit", "")
    of = ("file", key)
    span = float(np.exp(BAND_SIGMA * WIDE))
    return Uncertain(key, (key,), value, value / span, value * span, unit, reason, of, of)


def _pretensions(values: Mapping[str, float]) -> list[tuple[str, str]]:
    """(reason, key) of the belts' pretension: that of all, or each belt's own where there is one."""
    own = [k for k in values if k.startswith("belts.") and k.count(".") == 2 and k.endswith(".pretension_n")]
    keys = own or ["belts.pretension_n"]
    return [("what was asked for is seldom what is there (our estimate)", k) for k in keys if values.get(k, 0) > 0]


def _asked_for(key: str, values: Mapping[str, float], free: bool) -> Knob:
    """A knob somebody asked for. Raises InputError where it is no number of the machine."""
    path = tuple(key.split("."))
    found = key_at(path)
    said = f"--free {key}" if free else f"[[weighed]] {key}"
    if found is None or not may_have_band(path, found):
        known = [dotted(p) for p, k in all_keys() if may_have_band(p, k)]
        near = nearest(key, known)
        hint = f"did you mean {near}?" if near else f"numbers of {', '.join(EACH)}, guides, frame and feet can be"
        raise InputError(f"{said}: no number of the machine that can be free; {hint}")
    value = values.get(key)
    if value is None:
        raise InputError(f"{said}: this machine does not use it at this detail")
    if value == 0:
        raise InputError(
            f"{said}: its value is {tidy(0)}; write another in the scenario, or a [band] that says how large it may be"
        )
    return _knob(_wide(key, float(value), "asked for"))


MASSES = tuple(MASS_KEYS.values())
