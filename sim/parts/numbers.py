"""One number of a design: where it came from, how far it is known, and the value one machine of many draws for it."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Origin:
    """Where one value of the completed scenario came from; `show` prints a list of these.

    key: dotted key as in the file ("belts.pretension_n"), value in file units.
    origin: "file" | "set" | "variant" | "part" | "default" | "computed".
    note: the part's name, the source, or how it was computed.
    """

    key: str
    value: object
    origin: str
    note: str = ""


#: A band ends this many sigma on either side of its value.
BAND_SIGMA = 2.0


@dataclass(frozen=True)
class Uncertain:
    """One number of a design that is known within a band.

    key: dotted, as in the file ("belts.ea_n"), or kind, part and number of the catalogue where the file has no such key.
    keys: all that it stands for, where one part serves at several places.
    value, low, high: in `unit`; 19 of 20 machines keep low to high.  reason: where the band comes from.
    of: what it is a number of: (kind, part, key) of the catalogue, ("file", key), or ("mass", body).
    draw: what is uncertain about it; numbers of all designs with the same `draw` are wrong together.
    """

    key: str
    keys: tuple[str, ...]
    value: float
    low: float
    high: float
    unit: str
    reason: str
    of: tuple[str, ...]
    draw: tuple[str, ...]

    def at(self, sigmas: float) -> float:
        """Its value so many sigma above the one told: log-normal in two pieces, half-normal where that is zero."""
        if self.value == 0.0:
            return abs(sigmas) * self.high / BAND_SIGMA
        end = self.high if sigmas > 0 else self.low
        return float(self.value * (end / self.value) ** (abs(sigmas) / BAND_SIGMA))


@dataclass(frozen=True)
class Drawn:
    """One machine among the many that a design may turn out to be: its numbers in place of those told.

    parts: (kind, part, key) of the catalogue -> value in its unit.  keys: path in the file -> value in file units.
    masses: body -> factor on its computed mass.
    """

    parts: dict[tuple[str, str, str], float] = field(default_factory=dict)
    keys: dict[tuple[str, ...], float] = field(default_factory=dict)
    masses: dict[str, float] = field(default_factory=dict)

    def put(self, number: Uncertain, value: float) -> None:
        """Set one number, in its unit."""
        if number.of[0] == "mass":
            self.masses[number.of[1]] = value / number.value
        elif number.of[0] == "file":
            for key in number.keys:
                self.keys[tuple(key.split("."))] = value
        else:
            kind, part, key = number.of
            self.parts[kind, part, key] = value
