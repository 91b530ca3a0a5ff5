"""An improvement as `--json` and improve.json give it; the keys are fixed, other tools read them."""

from __future__ import annotations

from beltspring.sim import Improved, Improvement, gain_words, improvement_sentences

from .plain import Json, clean, six
from .summary import judged_entry


def improve_entry(found: Improvement) -> Json:
    """What to change, best first. Every change: settings for --set, its gain, what it costs, what `check` would stop."""
    ready = found.first.ready
    assert ready is not None
    design, price = ready.design, found.priced
    entry: Json = clean(
        {
            "title": design.title,
            "layout": design.layout,
            "detail": design.detail,
            "move": ready.plan.description,
            "reading": improvement_sentences(found),
            **judged_entry(found.judged),
            "price": None if price is None or price.price is None else round(price.price, 2),
            "currency": None if price is None else price.currency,
            "without_price": [] if price is None else list(price.unpriced),
            "stops": list(found.checked.stops),
            "changes": [_change(found, one) for one in found.changes],
            "together": [_change(found, one) for one in found.together],
            "motion": [_change(found, one) for one in found.motion],
            "stopped": [_change(found, one) for one in found.stopped],
            "refused": [{"change": words, "why": why} for words, why in found.refused],
            "tried": found.tried,
            "possible": found.possible,
            "complete": found.complete,
            "draws": found.draws,
            "seed": found.seed,
        }
    )
    return entry


def _change(found: Improvement, one: Improved) -> Json:
    return {
        "set": dict(one.settings),
        "words": gain_words(found, one),
        "change": one.words,
        **judged_entry(one.judged),
        "gain_share": six(one.gain_share),
        "price": None if one.price is None else round(one.price, 2),
        "mass_g": six(1e3 * one.mass_kg),
        "longer_share": six(one.longer_share),
        "sure": one.sure,
        "of_draws": None if one.pair is None else one.pair.less,
        "stops": list(one.stops),
        "ends_stops": list(one.ended),
        "warns": list(one.new_warnings),
        "drops": list(one.remarks),
    }
