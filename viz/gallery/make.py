"""Makes the pictures of this folder from shipped machines: python viz/gallery/make.py"""

from __future__ import annotations

from pathlib import Path

from beltspring.sim import load
from beltspring.viz.draw.png import save_png
from beltspring.viz.draw.stamp import stamped
from beltspring.viz.film import write_film
from beltspring.viz.gallery import arms_study
from beltspring.viz.pages.run import picture
from beltspring.viz.pages.settings_line import settings_entries, settings_line
from beltspring.viz.window.app import App
from beltspring.viz.window.runs import run_changed

HERE = Path(__file__).parent


def main() -> None:
    """One picture or animation for each of the three uses."""
    desk = run_changed(load("desk-corexy"), {})
    write_film([desk], HERE / "mixing.gif", screen="mixing", frames_s=9)
    write_film([desk], HERE / "ringing.gif", screen="ringing", begin_s=0.84, end_s=1.08, frames_s=12)
    picture(desk, HERE / "run.png")
    app = App([desk], size=(1280, 800), theme="light", initial_screen="compare", filming=True)
    app.wait_until_ready()
    app.clock.go(float(desk.analysis.path.worst_s) + 0.02)
    image, look, _ = app.render()
    save_png(
        stamped(image, look, settings_line(desk)), HERE / "compare.png", settings_entries(desk, "designs compared")
    )
    app.close()
    arms_study.picture(HERE / "delta.png")


if __name__ == "__main__":
    main()
