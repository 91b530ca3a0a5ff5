"""What every motor had to do and every belt had to bear in a run."""

from __future__ import annotations

from dataclasses import dataclass

from ..chain.chain import Outcome
from ..machine.routing import order_length_m
from ..model.facts import RunFact, run_facts


@dataclass(frozen=True)
class MotorReport:
    """What a motor had to do. peak_torque_nm, peak_lag_rad: of every step, None where nothing was simulated.

    torque_limit_nm: standing still, None of an ideal motor.  lost_steps: full steps off at the end.  most_steps_off,
    passages, first_loss_s: see `trace.Slip`; 0, 0 and None where it kept in step.
    """

    name: str
    peak_torque_nm: float | None
    torque_limit_nm: float | None
    peak_lag_rad: float | None
    lost_steps: int
    most_steps_off: int
    passages: int
    first_loss_s: float | None


@dataclass(frozen=True)
class BeltReport:
    """What a belt had to bear. least_n, most_n: tension of any run in any step, None where nothing was simulated.

    slack_s: how long any run hung slack.  order_length_m: to buy.  runs: with the tool in the middle of the move.
    """

    name: str
    least_n: float | None
    most_n: float | None
    slack_s: float
    order_length_m: float
    runs: tuple[RunFact, ...]


def motor_reports(outcome: Outcome) -> tuple[MotorReport, ...]:
    """Every motor, in the machine's order."""
    trace = outcome.trace
    slips = {slip.motor: slip for slip in trace.slips}
    out = []
    for motor in outcome.system.motors:
        slip = slips.get(motor.name)
        out.append(
            MotorReport(
                motor.name,
                trace.largest(f"torque_{motor.name}"),
                motor.limit_nm if motor.spec is not None else None,
                trace.largest(f"lag_{motor.name}"),
                *((slip.lost_steps, slip.most_steps_off, slip.passages, slip.time_s) if slip else (0, 0, 0, None)),
            )
        )
    return tuple(out)


def belt_reports(outcome: Outcome) -> tuple[BeltReport, ...]:
    """Every belt, in the machine's order."""
    trace, machine = outcome.trace, outcome.machine
    facts = run_facts(outcome.system, outcome.middle)
    out = []
    for belt in machine.belts:
        runs = tuple(fact for fact in facts if fact.belt == belt.name)
        seen = [e for run in runs if (e := trace.extreme(f"tension_{belt.name}_{run.name}")) is not None]
        out.append(
            BeltReport(
                belt.name,
                min((low for low, _ in seen), default=None),
                max((high for _, high in seen), default=None),
                trace.slack_s.get(belt.name, 0.0),
                order_length_m(machine, belt),
                runs,
            )
        )
    return tuple(out)
