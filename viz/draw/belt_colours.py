"""Which colour a belt and a motor have: by their number, and none where several motors pull the same belt; their names."""

from __future__ import annotations

from beltspring.sim.machine.machine import Belt, Machine

from .theme import Colour, Theme


def lettered(name: str) -> str:
    """The name of a belt or a motor as it is written: "a" -> "A", "y-right" -> "Y right"."""
    return name[:1].upper() + name[1:].replace("-", " ")


def motors_of(machine: Machine, belt: Belt) -> int:
    """How many motors a belt passes."""
    return sum(machine.wheels[wrap.wheel].drive is not None for wrap in belt.wraps)


def belt_colour(theme: Theme, machine: Machine, k: int) -> Colour:
    """Of the belt of that number: one that several motors pull belongs to none of them and is neutral."""
    return theme.dim if motors_of(machine, machine.belts[k]) > 1 else theme.belts[k % len(theme.belts)]


def back_colour(theme: Theme, machine: Machine, k: int) -> Colour:
    """Of the thin line along its smooth back."""
    return theme.text if motors_of(machine, machine.belts[k]) > 1 else theme.belt_backs[k % len(theme.belt_backs)]


def motor_colour(theme: Theme, machine: Machine, k: int) -> Colour:
    """Of the motor of that number: its belt's; text colour where its letter alone tells it from another."""
    wheel = machine.motors[k].wheel
    shared = any(
        motors_of(machine, belt) > 1 and any(wrap.wheel == wheel for wrap in belt.wraps) for belt in machine.belts
    )
    return theme.text if shared else theme.belts[k % len(theme.belts)]
