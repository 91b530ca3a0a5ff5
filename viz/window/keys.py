"""What every key does, and the cautions: the words of the "?" sheet."""

from __future__ import annotations

KEYS: tuple[tuple[int, str, tuple[tuple[str, str], ...]], ...] = (
    (0, "Clock", (
        ("Space", "play or pause"),
        ("Left, Right", "one millisecond back or on"),
        ("Shift+Left, Right", "one leg back or on"),
        ("Home, End", "to the start or the end"),
        ("[  and  ]", "slower or faster"),
    )),
    (0, "Sliders", (
        ("Left, Right", "1 %, with Shift 10 %"),
        ("Home, End", "lowest or highest value"),
        ("Backspace", "the default (or double-click)"),
        ("Enter", "type a value, unit or not"),
        ("Ctrl+Z", "undo; Ctrl+Shift+Z redo"),
    )),
    (0, "Mixing bench", (
        ("Q W, O P", "turn the motors (Shift slower)"),
        ("1 to 4", "play a move"),
        ("Backspace", "back to rest"),
    )),
    (1, "Window", (
        ("Ctrl+1 to 4", "the four screens"),
        ("Ctrl+O, Ctrl+S", "open, save as a new file"),
        ("E", "export a picture or a film"),
        ("K", "check the design"),
        ("Tab, Shift+Tab", "next or previous control"),
        ("T", "dark or light"),
        ("S", "settings drawer (narrow window)"),
        ("Ctrl + − 0", "larger, smaller, normal"),
        ("F11", "full screen"),
        ("Ctrl+Q", "close the window"),
        ("F1", "what the focused control does"),
        ("Esc", "close, or drop the focus"),
    )),
    (1, "Printed line", (
        ("arrow keys", "move the lens when it has the focus"),
        ("Up, Down", "move the lens from anywhere"),
    )),
)  # fmt: skip

CAUTIONS = (
    "A model is not your machine: friction, joints and belts differ from part to part. Measure before you rely on a number.",
    "Keep fingers, hair and sleeves away from moving belts, pulleys and carriages: they pinch, and motors start without warning.",
    "Belts under tension and springy frames can snap back; relax them before a clamp is loosened. Cutting metal: eye protection.",
    "Heated beds and power supplies on mains voltage: follow your local code and leave mains wiring to a licensed electrician.",
)
