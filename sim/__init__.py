"""The beltspring engine: from a scenario to what it means. It draws nothing and prints nothing. This is its front door.

    from beltspring.sim import check, load, run

    report = run(load("desk-corexy", ["motion.acceleration_mm_s2=8000"]))
    print(*report.sentences, sep="\\n")

Everything the window and the command line use of the engine is named here, besides the places of a machine that drawings
need (`sim.machine`). A name is loaded when it is first asked for, so that asking for little stays quick.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .analyse.ringing import Envelope as Envelope
    from .analyse.ringing import Ringdown as Ringdown
    from .analyse.ringing import Ringing as Ringing
    from .analyse.ringing import envelope as envelope
    from .analyse.ringing import ringdown_at as ringdown_at
    from .analyse.ripples import Level as Level
    from .analyse.ripples import Place as WorstPlace
    from .analyse.ripples import RippleMap as RippleMap
    from .analyse.terms import ALONG_LINE as ALONG_LINE
    from .analyse.terms import DEVIATION as DEVIATION
    from .analyse.terms import OFF_LINE as OFF_LINE
    from .analyse.terms import RINGS_BY as RINGS_BY
    from .analyse.terms import corner_name as corner_name
    from .chain.buzz import Buzz as Buzz
    from .chain.chain import Prepared as Prepared
    from .chain.chain import prepare as prepare
    from .chain.judged import Judged as Judged
    from .chain.peaks import NamedPeak as NamedPeak
    from .chain.stand import Criteria as Criteria
    from .chain.stand import Trial as Trial
    from .check.arms import LOW_STOP_DEG as LOW_STOP_DEG
    from .check.arms import LOW_WARN_DEG as LOW_WARN_DEG
    from .check.arms import lowest_arm as lowest_arm
    from .check.arms import softest_directions as softest_directions
    from .check.check import Findings as Findings
    from .check.check import check as check
    from .check.finding import Finding as Finding
    from .check.finding import Place as Place
    from .errors import BeltspringError as BeltspringError
    from .errors import InputError as InputError
    from .errors import RunError as RunError
    from .files import comma_words as comma_words
    from .files import name_of as name_of
    from .files import printable as printable
    from .files import reason_of as reason_of
    from .machine.build import bands_by_key as bands_by_key
    from .machine.build import build_machine as build_machine
    from .machine.starter import USUAL_SPACE_MM as USUAL_SPACE_MM
    from .machine.starter import starter as starter
    from .machine.travel import ArmTravel as ArmTravel
    from .model.build import build_model as build_model
    from .model.held import Held as Held
    from .model.held import held as held
    from .model.modes import Mode as Mode
    from .model.physics import physics as physics
    from .order.building import Building as Building
    from .order.building import Piece as Piece
    from .order.building import building as building
    from .order.form import price_form as price_form
    from .order.order import Bars as Bars
    from .order.order import Line as Line
    from .order.order import Order as Order
    from .order.order import order as order
    from .order.prices import Prices as Prices
    from .order.prices import load_prices as load_prices
    from .parts.catalogue import catalogue as catalogue
    from .parts.catalogue import rows as catalogue_rows
    from .parts.completed import completed_toml as completed_toml
    from .parts.design import Design as Design
    from .parts.design import Origin as Origin
    from .parts.keys import KeyFact as KeyFact
    from .parts.keys import key_fact as key_fact
    from .parts.keys import key_facts as key_facts
    from .practice import SEEN_M as SEEN_M
    from .practice import TORQUE_SHARE as TORQUE_SHARE
    from .scenario.changes import parse_sets as sets
    from .scenario.load import load_scenario as load
    from .scenario.load import with_changes as with_changes
    from .scenario.load import with_variant as with_variant
    from .scenario.schema import Scenario as Scenario
    from .scenario.source import shipped_scenarios as shipped
    from .study.borne import BeltReport as BeltReport
    from .study.borne import MotorReport as MotorReport
    from .study.budget import Spent as Spent
    from .study.budget import spent as spent
    from .study.choosing import designs as designs
    from .study.compare import Comparison as Comparison
    from .study.compare import compare as compare
    from .study.effect import Effect as Effect
    from .study.effect import effect as effect
    from .study.fit.found import Curves as FitCurves
    from .study.fit.found import Fitted as Fitted
    from .study.fit.found import RecordFound as FitRecord
    from .study.fit.found import fit as fit
    from .study.fit.measured import counted as measured_words
    from .study.fit.measured import read_measured as read_measured
    from .study.fit.sheet import Sheet as MeasuringSheet
    from .study.fit.sheet import measuring_sheet as measuring_sheet
    from .study.fit.sheet_words import CAUTIONS as CAUTIONS
    from .study.fit.sheet_words import leaves_words as leaves_words
    from .study.fit.sheet_words import limits_words as limits_words
    from .study.fit.sheet_words import measured_form as measured_form
    from .study.fit.sheet_words import program_text as program_text
    from .study.fit.sheet_words import sheet_text as sheet_text
    from .study.fit.words import apart_words as apart_words
    from .study.fit.words import headline as fit_headline
    from .study.fit.words import learned_words as learned_words
    from .study.fit.words import number_words as number_words
    from .study.fit.words import report as fit_report
    from .study.fit.words import unit_words as unit_words
    from .study.headline import DesignRow as DesignRow
    from .study.headline import Headline as Headline
    from .study.headline import headline as headline
    from .study.headline import rows_of as rows_of
    from .study.headline import troubles_of as troubles_of
    from .study.improve import Improved as Improved
    from .study.improve import Improvement as Improvement
    from .study.improve import improve as improve
    from .study.improve_words import gain_words as gain_words
    from .study.improve_words import improvement_sentences as improvement_sentences
    from .study.limits import Limit as Limit
    from .study.limits import Limits as Limits
    from .study.limits import find_limits as limits
    from .study.over_reach import OverReach as OverReach
    from .study.over_reach import modes as modes
    from .study.push import Push as Push
    from .study.push import PushBench as PushBench
    from .study.push import Rung as Rung
    from .study.report import Report as Report
    from .study.report import run as run
    from .study.search.found import Design as SearchedDesign
    from .study.search.found import Searched as Searched
    from .study.search.found import Sofar as SearchSofar
    from .study.search.goals import ANSWERS as SEARCH_ANSWERS
    from .study.search.goals import Goals as SearchGoals
    from .study.search.hands import Hands as SearchHands
    from .study.search.search import search as search
    from .study.search.store import Store as SearchStore
    from .study.search.wanted import search_wanted as search_wanted
    from .study.search.words import CALLED as SEARCH_CALLED
    from .study.search.words import answer_words as answer_words
    from .study.search.words import level as level_words
    from .study.search.words import search_sentences as search_sentences
    from .study.search.words import step_words as step_words
    from .study.spread import Pair as Pair
    from .study.spread import Spread as Spread
    from .study.spread import spread as spread
    from .study.sure import Spreading as Spreading
    from .study.sure import spread_comparison as spread_comparison
    from .study.wall import Wall as Wall
    from .study.ways import Way as Way
    from .trace import Ending as Ending
    from .trace import Rows as Rows
    from .trace import Trace as Trace

__all__ = [  # noqa: RUF022 (grouped by what they are for)
    # What one asks of the engine, in the order of a working day.
    "shipped", "load", "with_variant", "with_changes", "completed_toml", "catalogue", "modes", "check",
    "order", "prepare", "run", "designs", "compare", "limits", "spread", "improve", "fit", "search",
    "measuring_sheet",
    # What it answers.
    "Scenario", "Design", "Prepared", "Report", "Trace", "Ending", "Findings", "Order", "OverReach", "Comparison",
    "Limits", "Fitted", "MeasuringSheet",
    # What may go wrong.
    "BeltspringError", "InputError", "RunError",
    # What answers are made of, for whoever writes or draws them, and small helpers for telling.
    "LOW_STOP_DEG", "LOW_WARN_DEG", "lowest_arm", "softest_directions",
    "ArmTravel", "Bars", "BeltReport", "Buzz", "Criteria", "Finding", "Held", "Judged", "Level", "Limit", "Line", "Mode",
    "MotorReport", "Origin", "Pair", "Place", "Push", "PushBench", "Ringing", "RippleMap", "Rows", "Rung", "Spread",
    "Spreading", "Trial", "Wall", "Way", "WorstPlace", "bands_by_key", "build_model", "catalogue_rows", "held", "name_of",
    "printable", "reason_of", "spread_comparison",
    "ALONG_LINE", "DEVIATION", "OFF_LINE", "RINGS_BY", "corner_name", "SEEN_M", "TORQUE_SHARE",
    # What to change, and what it costs.
    "build_machine", "Improved", "Improvement", "gain_words", "improvement_sentences", "Prices", "load_prices",
    # What a corner, a spectrum and a comparison say.
    "Envelope", "NamedPeak", "Ringdown", "envelope", "ringdown_at",
    "SearchGoals", "SearchHands", "SearchSofar", "SearchStore", "Searched", "SearchedDesign", "SEARCH_ANSWERS",
    "SEARCH_CALLED", "answer_words",
    "level_words", "search_sentences", "search_wanted", "step_words",
    "DesignRow", "Headline", "headline", "rows_of", "troubles_of",
    # Beginning: a file to start from, and what may be written in it.
    "USUAL_SPACE_MM", "starter", "sets", "KeyFact", "key_fact", "key_facts", "comma_words", "Effect", "effect", "physics",
    "price_form", "Building", "Piece", "building", "Spent", "spent",
    # Fitting: what was measured, and what a fit says.
    "read_measured", "measured_words", "FitCurves", "FitRecord", "fit_headline", "fit_report", "apart_words",
    "learned_words", "number_words", "unit_words", "CAUTIONS", "leaves_words", "limits_words", "measured_form", "program_text",
    "sheet_text",
]  # fmt: skip

#: By module, the names the door has from there; "mine=theirs" where they differ.
_ROOMS = {
    "analyse.ringing": "Envelope Ringdown Ringing envelope ringdown_at",
    "analyse.ripples": "Level RippleMap WorstPlace=Place",
    "analyse.terms": "ALONG_LINE DEVIATION OFF_LINE RINGS_BY corner_name",
    "chain.buzz": "Buzz",
    "chain.chain": "Prepared prepare",
    "chain.judged": "Judged",
    "chain.peaks": "NamedPeak",
    "chain.stand": "Criteria Trial",
    "check.arms": "LOW_STOP_DEG LOW_WARN_DEG lowest_arm softest_directions",
    "check.check": "Findings check",
    "check.finding": "Finding Place",
    "errors": "BeltspringError InputError RunError",
    "files": "comma_words name_of printable reason_of",
    "machine.build": "bands_by_key build_machine",
    "machine.starter": "USUAL_SPACE_MM starter",
    "machine.travel": "ArmTravel",
    "model.build": "build_model",
    "model.held": "Held held",
    "model.modes": "Mode",
    "model.physics": "physics",
    "order.building": "Building Piece building",
    "order.form": "price_form",
    "order.order": "Bars Line Order order",
    "order.prices": "Prices load_prices",
    "parts.catalogue": "catalogue catalogue_rows=rows",
    "parts.completed": "completed_toml",
    "parts.design": "Design Origin",
    "parts.keys": "KeyFact key_fact key_facts",
    "practice": "SEEN_M TORQUE_SHARE",
    "scenario.changes": "sets=parse_sets",
    "scenario.load": "load=load_scenario with_changes with_variant",
    "scenario.schema": "Scenario",
    "scenario.source": "shipped=shipped_scenarios",
    "study.borne": "BeltReport MotorReport",
    "study.budget": "Spent spent",
    "study.choosing": "designs",
    "study.compare": "Comparison compare",
    "study.effect": "Effect effect",
    "study.improve": "Improved Improvement improve",
    "study.improve_words": "gain_words improvement_sentences",
    "study.headline": "DesignRow Headline headline rows_of troubles_of",
    "study.fit.found": "FitCurves=Curves FitRecord=RecordFound Fitted fit",
    "study.fit.measured": "measured_words=counted read_measured",
    "study.fit.sheet": "MeasuringSheet=Sheet measuring_sheet",
    "study.fit.sheet_words": "CAUTIONS leaves_words limits_words measured_form program_text sheet_text",
    "study.fit.words": "apart_words fit_headline=headline fit_report=report learned_words number_words unit_words",
    "study.limits": "Limit Limits limits=find_limits",
    "study.over_reach": "OverReach modes",
    "study.push": "Push PushBench Rung",
    "study.report": "Report run",
    "study.search.found": "SearchedDesign=Design Searched SearchSofar=Sofar",
    "study.search.goals": "SEARCH_ANSWERS=ANSWERS SearchGoals=Goals",
    "study.search.hands": "SearchHands=Hands",
    "study.search.search": "search",
    "study.search.store": "SearchStore=Store",
    "study.search.wanted": "search_wanted",
    "study.search.words": "SEARCH_CALLED=CALLED answer_words level_words=level search_sentences step_words",
    "study.spread": "Pair Spread spread",
    "study.sure": "Spreading spread_comparison",
    "study.wall": "Wall",
    "study.ways": "Way",
    "trace": "Ending Rows Trace",
}
_WHERE = {
    mine: (module, theirs or mine)
    for module, names in _ROOMS.items()
    for mine, _, theirs in (name.partition("=") for name in names.split())
}


def __getattr__(name: str) -> Any:
    """A name of the door, loaded."""
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, attribute = _WHERE[name]
    found = getattr(import_module(f".{module}", __name__), attribute)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted([*globals(), *_WHERE])


class _Door(ModuleType):
    """The rooms `check` and `order` bear the names of what they do: importing one must not cover the door's function."""

    def __setattr__(self, name: str, value: Any) -> None:
        if not (name in _WHERE and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Door
