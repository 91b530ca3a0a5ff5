"""What every key does, and the cautions: one table, which keys are looked up in and which the "?" sheet prints."""

from __future__ import annotations

from dataclasses import dataclass

import pygame


@dataclass(frozen=True)
class Key:
    """A key press. key: pygame key code.  ctrl: Ctrl, or Cmd where that is the habit."""

    key: int
    shift: bool = False
    ctrl: bool = False
    alt: bool = False


@dataclass(frozen=True)
class Chord:
    """Keys that mean a command, with their modifiers; None: held or not."""

    command: str
    codes: tuple[int, ...]
    ctrl: bool | None = False
    shift: bool | None = None
    alt: bool | None = False

    def fits(self, key: Key) -> bool:
        """Whether a key press is this one."""
        held = ((self.ctrl, key.ctrl), (self.shift, key.shift), (self.alt, key.alt))
        return key.key in self.codes and all(wanted is None or wanted == is_held for wanted, is_held in held)


@dataclass(frozen=True)
class Row:
    """A line of the sheet: keys, what they do, and the commands behind it."""

    keys: str
    words: str
    chords: tuple[Chord, ...]


@dataclass(frozen=True)
class Group:
    """Rows under a heading. column: of the sheet, 0 to 2."""

    column: int
    title: str
    rows: tuple[Row, ...]

    def command(self, key: Key) -> str:
        """The command a key means here, "" for none."""
        return next((chord.command for row in self.rows for chord in row.chords if chord.fits(key)), "")


def _any(command: str, *codes: int, shift: bool | None = None) -> Chord:
    """A chord for which Ctrl and Alt do not matter."""
    return Chord(command, codes, None, shift, None)


def _ctrl(command: str, *codes: int, shift: bool | None = None) -> Chord:
    return Chord(command, codes, True, shift, None)


def code_of(letter: str) -> int:
    """The pygame code of a letter's key."""
    return int(getattr(pygame, f"K_{letter.lower()}"))


#: Keys that turn a motor on and back, left hand first; of two motors the outer pairs, of three all.
LETTERS = (("Q", "W"), ("F", "G"), ("O", "P"))


def letters_of(motors: int) -> tuple[tuple[str, str], ...]:
    """The pair of keys of each of so many motors, in order."""
    return LETTERS if motors > 2 else (LETTERS[0], LETTERS[2])


CLOCK = Group(0, "Clock", (
    Row("Space", "play or pause", (_any("play", pygame.K_SPACE),)),
    Row("Left, Right", "one millisecond back or on",
        (_any("step back", pygame.K_LEFT, shift=False), _any("step on", pygame.K_RIGHT, shift=False))),
    Row("Shift+Left, Right", "one corner back or on",
        (_any("leg back", pygame.K_LEFT, shift=True), _any("leg on", pygame.K_RIGHT, shift=True))),
    Row("Home, End", "to the start or the end", (_any("to start", pygame.K_HOME), _any("to end", pygame.K_END))),
    Row("R", "repeat a corner, all, nothing", (Chord("repeat", (pygame.K_r,)),)),
    Row("[  and  ]", "slower or faster",
        (_any("slower", pygame.K_LEFTBRACKET), _any("faster", pygame.K_RIGHTBRACKET))),
))  # fmt: skip

SLIDERS = Group(0, "Sliders", (
    Row("Left, Right", "1 %, with Shift 10 %",
        (Chord("less", (pygame.K_LEFT, pygame.K_DOWN)), Chord("more", (pygame.K_RIGHT, pygame.K_UP)))),
    Row("Home, End", "lowest or highest value", (Chord("lowest", (pygame.K_HOME,)), Chord("highest", (pygame.K_END,)))),
    Row("Backspace", "the default (or double-click)", (Chord("default", (pygame.K_BACKSPACE,)),)),
    Row("Enter", "type a value, unit or not", (Chord("type", (pygame.K_RETURN, pygame.K_KP_ENTER)),)),
    Row("Ctrl+Z", "undo; Ctrl+Shift+Z redo",
        (_ctrl("undo", pygame.K_z, shift=False), _ctrl("redo", pygame.K_z, shift=True), _ctrl("redo", pygame.K_y))),
))  # fmt: skip

BENCH = Group(2, "Mixing bench", (
    Row("Q W, F G, O P", "turn motors (Shift slower)",
        tuple(Chord(f"hold {letter}", (code_of(letter),)) for pair in LETTERS for letter in pair)),
    Row("1 to 4", "play a move", tuple(Chord(f"move {k + 1}", (pygame.K_1 + k,)) for k in range(4))),
    Row("B", "stiff, or belts that give", (Chord("give", (pygame.K_b,)),)),
    Row("D", "draw a path", (Chord("draw", (pygame.K_d,)),)),
    Row("Enter", "push and let go, run the path", (Chord("push", (pygame.K_RETURN, pygame.K_KP_ENTER)),)),
    Row("Backspace", "back to rest", (Chord("rest", (pygame.K_BACKSPACE,)),)),
))  # fmt: skip

WINDOW = Group(1, "Window", (
    Row("Ctrl+1 to 5", "the five screens", tuple(_ctrl(f"screen {k + 1}", pygame.K_1 + k) for k in range(5))),
    Row("Ctrl+O, Ctrl+S", "open, save as a new file", (_ctrl("open", pygame.K_o), _ctrl("save", pygame.K_s))),
    Row("E", "a picture or a film", (Chord("export", (pygame.K_e,)),)),
    Row("K", "check the design", (Chord("check", (pygame.K_k,)),)),
    Row("Tab, Shift+Tab", "next, previous control",
        (Chord("next control", (pygame.K_TAB,), shift=False, alt=None),
         Chord("previous control", (pygame.K_TAB,), shift=True, alt=None))),
    Row("M", "sound: hear it ring, at 1×", (Chord("sound", (pygame.K_m,)),)),
    Row("T", "dark or light", (Chord("theme", (pygame.K_t,)),)),
    Row("S", "settings, where narrow", (Chord("drawer", (pygame.K_s,)),)),
    Row("Ctrl + − 0", "larger, smaller, normal",
        (_ctrl("larger", pygame.K_PLUS, pygame.K_EQUALS, pygame.K_KP_PLUS),
         _ctrl("smaller", pygame.K_MINUS, pygame.K_KP_MINUS), _ctrl("normal", pygame.K_0, pygame.K_KP_0))),
    Row("F5", "present: large, no settings", (_any("present", pygame.K_F5),)),
    Row("F11", "full screen", (Chord("full screen", (pygame.K_F11,)),)),
    Row("Ctrl+Q", "close the window", (_ctrl("quit", pygame.K_q),)),
    Row("L", "lessons: six short cards", (Chord("lessons", (pygame.K_l,)),)),
    Row("F1", "what has the focus does", (_any("tip", pygame.K_F1),)),
    Row("?", "this sheet",
        (Chord("keys", (pygame.K_QUESTION,)), Chord("keys", (pygame.K_SLASH,), shift=True))),
    Row("Esc", "close, or drop the focus", (_any("back", pygame.K_ESCAPE),)),
))  # fmt: skip

_UP_DOWN = (Chord("lens up", (pygame.K_UP,)), Chord("lens down", (pygame.K_DOWN,)))
PRINT = Group(2, "Printed line", (
    Row("arrow keys", "move the focused lens",
        (Chord("lens left", (pygame.K_LEFT,)), Chord("lens right", (pygame.K_RIGHT,)), *_UP_DOWN)),
    Row("Up, Down", "move the lens from anywhere", _UP_DOWN),
    Row("W", "from above, or as a wall", (Chord("wall", (pygame.K_w,)),)),
))  # fmt: skip

MOVES = Group(2, "What moves", (
    Row("Space", "swing or stand still", (Chord("swing or stand", (pygame.K_SPACE,)),)),
    Row("Left, Right", "the next way to swing",
        (Chord("way down", (pygame.K_LEFT, pygame.K_UP)), Chord("way up", (pygame.K_RIGHT, pygame.K_DOWN)))),
))  # fmt: skip

LESSONS = Group(0, "Lessons", (
    Row("Enter", "answer, next card", (Chord("lesson next", (pygame.K_RETURN, pygame.K_KP_ENTER)),)),
    Row("1 to 5", "a guess", tuple(Chord(f"answer {k + 1}", (pygame.K_1 + k,)) for k in range(5))),
))  # fmt: skip

KEYS = (CLOCK, SLIDERS, BENCH, WINDOW, PRINT, MOVES, LESSONS)


def ctrl_command(key: Key) -> str:
    """The command of a Ctrl key that works wherever the focus is, "" for none."""
    return (WINDOW.command(key) or SLIDERS.command(key)) if key.ctrl else ""


CAUTIONS = (
    "A model is not your machine: friction, joints and belts differ from part to part. Measure before you rely on a number.",
    "Keep fingers, hair and sleeves away from moving belts, pulleys and carriages: they pinch, and motors start without warning.",
    "Belts under tension and springy frames can snap back; relax them before a clamp is loosened. Cutting metal: eye protection.",
    "Heated beds and power supplies on mains voltage: follow your local code and leave mains wiring to a licensed electrician.",
)
