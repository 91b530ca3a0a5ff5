"""A search as `--json`, search.json and table.csv give it; the keys are fixed, other tools read them."""

from __future__ import annotations

import csv
import io
from typing import Any

from beltspring.sim import SEARCH_ANSWERS, Searched, SearchedDesign, search_sentences

from .plain import Json, clean, six


def search_entry(found: Searched) -> Json:
    """The front, which key matters, and single changes of the first design; settings are for --set."""
    entry: Json = clean(
        {
            "title": None if found.first.ready is None else found.first.ready.design.title,
            "reading": search_sentences(found),
            "possible": found.possible,
            "judged": len(found.judged),
            "refused": found.refused,
            "broken": found.broken,
            "stopped": found.stopped,
            "least": list(found.goals.least),
            "keep": [rule.words for rule in found.goals.keep],
            "currency": None if found.prices is None else found.prices.currency,
            "front": [
                _design(one) | {"as_good_as": None if twin is None else twin + 1}
                for one, twin in zip(found.front, found.as_good_as, strict=True)
            ],
            "knobs": [{"key": k.key, "share": six(k.share)} for k in found.knobs],
            "steps": [
                {
                    "key": s.key,
                    "from": s.before,
                    "to": s.after,
                    "gain_share": six(s.gain_share),
                    "price": None if s.price is None else round(s.price, 2),
                    "stops": None if s.stops is None else list(s.stops),
                }
                for s in found.steps
            ],
            "seed": found.seed,
            "digest": found.digest,
            "complete": found.complete,
        }
    )
    return entry


def _design(one: SearchedDesign) -> Json:
    answers: dict[str, Any] = {name: six(one.answer(name)) for name in (*SEARCH_ANSWERS, "least_um", "most_um")}
    price = one.answer("price")
    return {
        "set": dict(one.settings),
        **answers,
        "price": None if price is None else round(price, 2),
        "stops": list(one.stops or ()),
        "warnings": list(one.warnings or ()),
    }


def search_csv(found: Searched) -> str:
    """Every judged design, in the order judged: its keys, its answers, whether it is of the front, why it is out."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    keys = [knob.key for knob in found.space.knobs]
    writer.writerow([*keys, *SEARCH_ANSWERS, "front", "stops", "refused"])
    front = {one.genes for one in found.front}
    for one in found.judged:
        answers = [one.answer(name) for name in SEARCH_ANSWERS]
        writer.writerow(
            [
                *(one.settings[key] for key in keys),
                *("" if value is None else f"{value:.6g}" for value in answers),
                "yes" if one.genes in front else "",
                " ".join(one.stops or ()),
                one.answers["refused"],
            ]
        )
    return out.getvalue()
