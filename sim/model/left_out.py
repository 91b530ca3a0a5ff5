"""What the simple model leaves out of a machine, in words: told wherever a run with it is told."""

from __future__ import annotations

from ..machine.machine import Machine

#: How a guide of a kind gives way across its travel, which only the full model has.
GIVES_WAY = {"rods": "bending rods", "wheels": "soft wheels", "rail": "tilting rails"}


def left_out(machine: Machine) -> tuple[str, ...]:
    """What of this machine the model it is run with does not have; empty at detail full, and where all that is rigid."""
    design = machine.design
    if design.detail == "full":
        return ()
    guides = dict.fromkeys(GIVES_WAY[body.guide.kind] for body in machine.bodies if body.guide is not None)
    feet = () if design.feet is None else (f"{design.feet.part.removeprefix('feet-')} feet",)
    frame = () if design.frame is None else ("frame twist",)
    arms = ("the platform's tilt",) if machine.arms else ()
    return (*guides, *feet, *frame, *arms)


def left_out_words(machine: Machine) -> str:
    """The same as a sentence; "" where nothing is left out."""
    parts = left_out(machine)
    if not parts:
        return ""
    listed = f"{', '.join(parts[:-1])} and {parts[-1]}" if len(parts) > 1 else parts[0]
    return f"Detail simple leaves out {listed}."
