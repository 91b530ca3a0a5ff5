"""What a worker does: one design built, weighed, priced, simulated; asked of `check` when it is among the best.

Everything here can be sent to another process or machine: a `Task` holds what all designs share.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...chain.batch import Feeds, judge
from ...chain.judged import Paces, verdict
from ...errors import BeltspringError
from ...model.facts import moving_mass
from ...order.prices import Prices
from ...scenario.schema import Scenario
from ..designs import Candidate, candidate, checked, one_line, priced, run_of
from .goals import KNOWN_FIRST, Goals
from .hands import Inline

Answers = dict[str, Any]

#: On the way a design is judged at every third of the thirteen speeds, the design's own among them.
ON_THE_WAY = slice(None, None, 3)
#: Plans of this worker's last motions: most designs of a search are asked for the same ones.
_FEEDS = Feeds()


@dataclass(frozen=True)
class Task:
    """What all designs of a search share. paces: of the design as written, all thirteen."""

    scenario: Scenario
    paces: Paces
    goals: Goals
    prices: Prices | None

    def built(self, settings: Mapping[str, Any]) -> Candidate:
        """A design of the space."""
        return candidate(self.scenario, settings, "design", "--vary")

    def at(self, thorough: bool) -> Paces:
        """The speeds to judge at."""
        every = self.paces
        if thorough or every.corners:
            return every
        return Paces(every.factors[ON_THE_WAY], every.speed_m_s)


def answers_of(task: Task, settings: Mapping[str, Any], thorough: bool = False) -> Answers:
    """A design's answers, None where it has none; `refused` says why it cannot be built or simulated, "" where it can.

    thorough: at all thirteen speeds. What breaks a rule by its price, its time or its mass is not simulated.
    """
    found: Answers = {"refused": ""}
    try:
        one = task.built(settings)
        if one.ready is None:
            return {"refused": one.refused}
        found |= _known_first(task, one)
        if task.goals.amiss(found, KNOWN_FIRST) > 0:
            return found
        found |= _judged(task, one, thorough)
        if "path_rms_um" in task.goals.asked:
            found["path_rms_um"] = 1e6 * run_of(one).analysis.path.across_rms_m
    except BeltspringError as error:
        return {**found, "refused": one_line(error)}
    return found


def _known_first(task: Task, one: Candidate) -> Answers:
    assert one.ready is not None
    price = priced(one.ready.machine, task.prices)
    return {
        "job_s": one.ready.plan.move_s,
        "mass_g": 1e3 * max(moving_mass(one.ready.system)),
        "price": None if price is None else price.price,
    }


def _judged(task: Task, one: Candidate, thorough: bool) -> Answers:
    assert one.ready is not None
    assert one.rig is not None
    paces = task.at(thorough)
    (trials,) = judge([one.rig], paces.factors, Inline(), _FEEDS)
    said = verdict(trials, one.ready, paces)
    own = int(np.argmin(np.abs(np.array(paces.factors) - 1.0)))
    value = None if said is None or said.judged_m is None else 1e6 * said.judged_m
    out: Answers = {
        "judged_um": value,
        "passages": int(trials.passages[own]),
        "slack_s": float(trials.slack_s[own]),
        "whole": bool(trials.whole[own]),
    }
    if thorough and said is not None and said.least_m is not None and said.most_m is not None:
        out |= {"least_um": 1e6 * said.least_m, "most_um": 1e6 * said.most_m}
    return out


def stops_of(task: Task, settings: Mapping[str, Any]) -> Answers:
    """What `check` says of a design: names of the rules that stop it, and of those that warn."""
    try:
        one = task.built(settings)
        if one.ready is None:
            return {"stops": [], "warnings": [], "refused": one.refused}
        said = checked(one)
        return {"stops": list(said.stops), "warnings": list(said.warnings), "refused": ""}
    except BeltspringError as error:
        return {"stops": [], "warnings": [], "refused": one_line(error)}
