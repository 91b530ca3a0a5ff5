"""`order` as text, with a form of prices, and with a budget."""

from __future__ import annotations

import json
import tomllib


def test_the_text_has_what_the_csv_has(beltspring):
    page = " ".join(beltspring("order", "desk-corexy").out.split())
    rows = json.loads(beltspring("order", "desk-corexy", "--json").out)["items"]
    for row in rows:
        assert f"[{row['name']}]" in page.replace("[ ", "["), row
        assert row["what"].split(",")[0] in page


def test_the_command_writes_the_form_and_answers_the_budget(beltspring, tmp_path):
    assert '# "motor-17-34" = 0.00' in beltspring("order", "small-hframe", "--prices", "new").out
    assert "prices.toml" in beltspring("order", "small-hframe", "--prices", "new", "--out", tmp_path / "p").out
    assert tomllib.loads((tmp_path / "p" / "prices.toml").read_text(encoding="utf-8"))["currency"] == "EUR"
    said = beltspring("order", "small-hframe", "--prices", "example", "--set", "budget.money=900")
    assert "Budget 900 EUR:" in said.out
    assert "are left" in said.out
    assert beltspring("order", "small-hframe", "--set", "budget.money=900").code == 2
