"""The page one hands to others: whole, small, escaped, under a strict policy; and in a real browser it plays."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import re
import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest
from beltspring.viz.cli import main

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
BAD = '</script><script>document.title="broken"</script><b onclick=alert(1)>&amp;'


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """By name the page of a machine on belts, of one compared and priced, of one on arms, and one with a hostile title."""
    place = tmp_path_factory.mktemp("pages")
    asked = {
        "plain": ["desk-corexy"],
        "compared": ["small-hframe", "--compare", "--prices", "example"],
        "arms": ["small-delta"],
        "hostile": ["small-box", "--set", f"title={BAD}"],
    }
    for name, words in asked.items():
        assert main(["page", *words, "--out", str(place / name), "--quiet"]) == 0
    return {name: place / name / "page.html" for name in asked}


@pytest.mark.parametrize("name", ["plain", "compared", "arms", "hostile"])
def test_it_is_one_small_file_that_asks_for_nothing(pages, name):
    text = pages[name].read_text(encoding="utf-8")
    assert len(text.encode("utf-8")) <= 2_000_000
    assert sorted(p.name for p in pages[name].parent.iterdir()) == ["page.html", "scenario.toml"]
    bare = re.sub(r"data:[a-z/]+;base64,[A-Za-z0-9+/=]+", "", text)
    assert not re.search(r"""(?:src|href|url)\s*[=(]\s*["']?(?!data:)[a-z]*:?//""", bare)
    assert " style=" not in bare
    assert not re.search(r"\son[a-z]+=", re.sub(r"<script.*?</script>|&[a-z]+;|onclick=alert", "", bare, flags=re.S))


@pytest.mark.parametrize("name", ["plain", "hostile"])
def test_the_policy_allows_its_own_style_and_script_only(pages, name):
    """W3C Content Security Policy Level 3, section 2.3.1: a hash is the base64 of the digest of the element's text."""
    text = pages[name].read_text(encoding="utf-8")
    (policy,) = re.findall(r'Content-Security-Policy" content="([^"]+)"', text)
    policy = policy.replace("&#39;", "'")
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy
    for tag, rule in (("style", "style-src"), ("script", "script-src")):
        (inner,) = re.findall(rf"<{tag}>(.*?)</{tag}>", text, re.S)
        digest = base64.b64encode(hashlib.sha256(inner.encode("utf-8")).digest()).decode("ascii")
        assert f"{rule} 'sha256-{digest}'" in policy


def test_every_word_of_the_input_is_escaped(pages):
    text = pages["hostile"].read_text(encoding="utf-8")
    assert "<b onclick" not in text
    assert text.count("<script") == 2
    assert "&lt;b onclick" in text
    (moves,) = re.findall(r'id="moves">(.*?)</script>', text, re.S)
    assert json.loads(moves)["ms"]


def test_it_says_what_the_run_says(pages, capsys):
    text = pages["plain"].read_text(encoding="utf-8")
    assert main(["run", "desk-corexy", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["reading"][0] in text.replace("&#39;", "'")
    for heading in (
        "See it ring",
        "Off the line",
        "What to change before you build",
        "Take care",
        "What to order",
        "Sources",
    ):
        assert f"<h2>{heading}" in text
    assert text.index("Take care") < text.index("What to order")
    assert "not a certificate of safety" in text


def test_the_order_is_of_the_design_the_verdict_names(pages, capsys):
    text = pages["compared"].read_text(encoding="utf-8")
    assert main(["compare", "small-hframe", "--json"]) == 0
    best = json.loads(capsys.readouterr().out)["best"]
    assert f"What to order: {best}" in text
    assert "INVENTED" in text


def test_where_it_goes_must_be_said(capsys):
    assert main(["page", "desk-corexy"]) == 2
    assert "--out" in capsys.readouterr().err
    assert main(["page", "desk-corexy", "--out", "there", "--spread"]) == 2
    assert "--spread goes with --compare" in capsys.readouterr().err


def test_what_machines_drawn_keep_lies_below_each_bar():
    """Two designs, the better first; machines of one were drawn. By hand: 30 to 96 um judged, 30 to 90 um drawn."""
    from beltspring.viz.html.page import _ranges

    judged = [SimpleNamespace(judged_m=m, least_m=0.5 * m, most_m=1.6 * m) for m in (60e-6, 30e-6)]
    two = SimpleNamespace(labels=("as written", "steel"), judged=judged, order=(1, 0))
    told = _ranges(SimpleNamespace(judged=judged[0]), two, SimpleNamespace(judged_um=((30.0, 90.0), None)))
    wide, _ = told["ranges"].split("</svg>")[:2]
    bars = [
        {k: float(v) for k, v in re.findall(r'(x|y|width)="([\d.]+)"', rect)}
        for rect in re.findall(r"<rect[^>]+>", wide)
    ]
    assert len(bars) == 3
    steel, written, drawn = bars
    assert written["y"] > steel["y"]
    assert drawn["y"] > written["y"]
    per_um = written["width"] / (1.1 * 60)
    assert drawn["width"] == pytest.approx(60 * per_um, abs=0.2)
    assert drawn["x"] - written["x"] == pytest.approx(0.0, abs=0.2), "both begin at 30 um"
    assert "8 of 10 machines" in told["ranges_words"]
    alone = _ranges(SimpleNamespace(judged=judged[0]), two, None)
    assert "8 of 10" not in alone["ranges_words"]
    assert "drawn" not in alone["ranges"]


@pytest.fixture(scope="module")
def browser():
    """Debian's chromium with its driver. CI installs both and fails without them; elsewhere it is said what is missing."""
    missing = [name for name, there in (("chromium", CHROMIUM), ("chromium-driver", DRIVER)) if there is None]
    if missing:
        words = f"the page was not tried in a browser: {' and '.join(missing)} missing (Debian: apt-get install them)"
        if os.environ.get("CI"):
            pytest.fail(words)
        pytest.skip(words)
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for word in ("headless", "no-sandbox", "disable-gpu", "disable-quic", "no-first-run", "disable-background-networking",
                 "disable-component-update", "disable-sync", "hide-scrollbars", "force-prefers-reduced-motion=0"):  # fmt: skip
        options.add_argument(f"--{word}")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(service=Service(DRIVER), options=options)
    driver.set_script_timeout(20)
    yield driver
    driver.quit()


def opened(browser, path: Path, width: int, dark: bool = False, calm: bool = False) -> None:
    browser.get_log("browser"), browser.get_log("performance")
    features = [
        {"name": "prefers-color-scheme", "value": "dark" if dark else "light"},
        {"name": "prefers-reduced-motion", "value": "reduce" if calm else "no-preference"},
    ]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    metrics = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    browser.get(path.as_uri())


def told_nothing_and_asked_for_nothing(browser) -> None:
    assert [entry for entry in browser.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")] == []
    events = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [e["params"]["request"]["url"] for e in events if e["method"] == "Network.requestWillBeSent"]
    assert asked, "the page itself is a request, so the log works"
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert sum(url.startswith("file:") for url in asked) == 1


@pytest.mark.parametrize("name", ["plain", "compared", "arms", "hostile"])
@pytest.mark.parametrize("width", [390, 1100])
def test_it_opens_fits_and_asks_for_nothing(browser, pages, name, width):
    opened(browser, pages[name], width)
    wide = browser.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    assert wide[0] <= width == wide[1]
    small = browser.execute_script(
        """return [...document.querySelectorAll('svg text')].filter(t => t.getClientRects().length)
        .map(t => parseFloat(getComputedStyle(t).fontSize) * t.ownerSVGElement.getBoundingClientRect().width
             / t.ownerSVGElement.viewBox.baseVal.width)"""
    )
    assert small
    assert min(small) >= 12.5, "words in drawings stay large enough to read"
    assert browser.title != "broken"
    told_nothing_and_asked_for_nothing(browser)


@pytest.mark.parametrize("name", ["plain", "arms"])
def test_it_scrubs_and_plays(browser, pages, name):
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    opened(browser, pages[name], 1100)
    state = "const t = document.getElementById('tool'); return [t.getAttribute('cx') + ',' + t.getAttribute('cy'),"
    state += "document.getElementById('now').textContent, +document.getElementById('when').value]"
    before = browser.execute_script(state)
    slider = browser.find_element(By.ID, "when")
    for _ in range(9):
        slider.send_keys(Keys.ARROW_RIGHT)  # by keyboard
    after = browser.execute_script(state)
    assert after[2] == before[2] + 9
    assert after[1] != before[1]
    assert after[0] != before[0]
    assert slider.get_attribute("aria-valuetext").startswith(after[1])
    button = browser.find_element(By.ID, "play")
    button.send_keys(Keys.SPACE)
    assert button.text == "Pause"
    moved = browser.execute_async_script(
        "const done = arguments[0], w = document.getElementById('when'), at = +w.value;"
        "const look = () => +w.value > at + 2 ? done([at, +w.value]) : setTimeout(look, 50); look();"
    )
    assert moved[1] > moved[0]
    button.click()
    assert button.text == "Play"
    stood = browser.execute_script(state)[2]
    assert (
        browser.execute_async_script("setTimeout(() => arguments[0](+document.getElementById('when').value), 200)")
        == stood
    )
    told_nothing_and_asked_for_nothing(browser)


def test_with_reduced_motion_play_goes_on_step_by_step(browser, pages):
    from selenium.webdriver.common.by import By

    opened(browser, pages["plain"], 1100, calm=True)
    value = "return +document.getElementById('when').value"
    before = browser.execute_script(value)
    browser.find_element(By.ID, "play").click()
    after = browser.execute_script(value)
    assert after > before
    assert browser.find_element(By.ID, "play").text == "Play"
    assert (
        browser.execute_async_script("setTimeout(() => arguments[0](+document.getElementById('when').value), 200)")
        == after
    )


@pytest.mark.parametrize("dark", [False, True])
def test_words_can_be_read(browser, pages, dark):
    """WCAG 2.2, 1.4.3: contrast of 4.5 to 1 for text, 3 to 1 for large text; relative luminance as defined there."""
    opened(browser, pages["compared"], 1100, dark=dark)
    found = browser.execute_script(
        """const out = [];
        for (const e of document.querySelectorAll('h1,h2,p,li,b,span,td,th,dt,dd,button,output,figcaption,svg text,caption')) {
          if (!e.getClientRects().length || !e.textContent.trim()) continue;
          const s = getComputedStyle(e); let up = e, back = 'rgba(0, 0, 0, 0)';
          while (up && back === 'rgba(0, 0, 0, 0)') { back = getComputedStyle(up).backgroundColor; up = up.parentElement; }
          out.push([e.ownerSVGElement ? s.fill : s.color, back, parseFloat(s.fontSize), +s.fontWeight,
                    e.textContent.slice(0, 40)]);
        } return out;"""
    )
    assert len(found) > 100
    dim = [f for f in found if contrast(f[0], f[1]) < (3.0 if f[2] >= 24 or (f[2] >= 18.66 and f[3] >= 600) else 4.5)]
    assert dim == []
    page = browser.execute_script("return getComputedStyle(document.body).backgroundColor")
    assert (luminance(page) < 0.2) is dark


def luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance of "rgb(r, g, b)"."""
    parts = [int(v) / 255 for v in re.findall(r"\d+", colour)[:3]]
    r, g, b = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, contrast ratio."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_worked_out_as_the_standard_says():
    """Black on white is 21 to 1; #767676 on white is the standard's known border case of 4.54 to 1 (from memory)."""
    assert contrast("rgb(0, 0, 0)", "rgb(255, 255, 255)") == pytest.approx(21)
    assert contrast("rgb(118, 118, 118)", "rgb(255, 255, 255)") == pytest.approx(4.54, abs=0.01)
