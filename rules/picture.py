"""The pressure line of a fuel system as a drawing: from the tank to the rail and back.

svg = pressure_line_svg(request, catalogue)
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor
from xml.sax.saxutils import escape, quoteattr

from rules.assembly import Request
from rules.catalogue import Catalogue
from rules.circuit import place
from rules.facts.application import application_facts
from rules.facts.case import Gap
from rules.facts.flow import Figures, Passage, Study, study

__all__ = ["NothingToDraw", "pressure_line_svg"]

_SLOT, _AXIS, _RIGHT, _TOP, _PLOT = 34.0, 74.0, 24.0, 86.0, 360.0
_LEAST_WIDTH = 640.0
_LETTER = 7.3
"""Width of a letter of a label: refs are written in letters of one width, 0.6 of their size, so
that they fit whatever the font. They are slanted by 60 degrees under the axis."""
_STEPS_BAR = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
_MOST_TICKS = 9
_INK, _GREY, _PALE = "#1a1a1a", "#6b6b6b", "#d9d9d9"
_BANDS = {"suction": "#f2f2f2", "transfer": "#f2f2f2", "feed": "#ffffff", "return": "#f2f2f2"}


class NothingToDraw(ValueError):
    """The flow of the assembly can't be told; the text says why.

    Attributes:
        gaps: what is not recorded, where that is why.
    """

    def __init__(self, why: str, gaps: tuple[Gap, ...] = ()) -> None:
        super().__init__(why)
        self.gaps = gaps


@dataclass(frozen=True)
class _Series:
    """One operating point as a line."""

    kind: str
    colour: str
    dash: str
    width: float


_SERIES = (
    _Series("full-load", "#174a7c", "", 2.6),
    _Series("idle", "#b3541e", "7 4", 2.0),
)


@dataclass(frozen=True)
class _Slot:
    """A part's place on the axis."""

    passage: Passage
    left: float

    @property
    def right(self) -> float:
        return self.left + _SLOT

    @property
    def middle(self) -> float:
        return self.left + _SLOT / 2.0


def pressure_line_svg(request: Request, catalogue: Catalogue) -> str:
    """The pressure line at full load and at idle as an SVG document; the same bytes each time.

    Every part stands where the fuel passes it, named by its ref, with what it costs at full load;
    the height is gauge pressure in bar. Plain shapes and text, no fonts or scripts from outside.

    Raises:
        AssemblyFaults: the request names parts, ports, fuels or vehicles that do not exist.
        NothingToDraw: the request names no power, or the flow can't be told.
    """
    circuit = place(request, catalogue)
    found = study(circuit, application_facts(circuit))
    if found.worst is None:
        raise NothingToDraw(found.why_not, found.gaps)
    figures = Figures(found.worst, found.worst_injectors)
    if not figures.solved(figures.end.full_load):
        why, gap = figures.end.batch.why_not(figures.end.full_load)
        raise NothingToDraw(why, () if gap is None else (gap,))
    return _Drawing(found, figures).svg()


class _Drawing:
    def __init__(self, found: Study, figures: Figures) -> None:
        self._study = found
        self._figures = figures
        self._words_of = [self._label(passage) for passage in figures.passages]
        self._left = self._left_margin()
        self._bottom = 84.0 + 0.87 * _LETTER * max(map(len, self._words_of))
        self._slots = [
            _Slot(passage, self._left + at * _SLOT) for at, passage in enumerate(figures.passages)
        ]
        self._plot_right = self._left + len(self._slots) * _SLOT
        self._width = max(
            self._plot_right + _RIGHT,
            _LEAST_WIDTH,
            self._left + _reach(self._title(), 17, bold=True) + _RIGHT,
            self._left + _reach(self._summary(), 12) + _RIGHT,
        )
        self._series = [
            (series, row)
            for series in _SERIES
            if (row := figures.end.row(series.kind)) is not None and figures.solved(row)
        ]
        self._low, self._high, self._step = self._scale()

    def _left_margin(self) -> float:
        """Room for the axis, and for labels that reach further left than their part stands."""
        reach = [0.5 * _LETTER * len(w) - at * _SLOT for at, w in enumerate(self._words_of)]
        return max(_AXIS, *(each - _SLOT / 2.0 + 8.0 for each in reach))

    def svg(self) -> str:
        """The whole document."""
        height = _TOP + _PLOT + self._bottom
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" '
            f'width="{self._width:.0f}" height="{height:.0f}" '
            f'viewBox="0 0 {self._width:.0f} {height:.0f}" '
            f'font-family="sans-serif" font-size="12" fill="{_INK}">'
        )
        body = (
            f"<title>{escape(self._title())}</title>",
            f"<desc>{escape(self._description())}</desc>",
            f'<rect width="{self._width:.0f}" height="{height:.0f}" fill="#ffffff"/>',
            *self._bands(),
            *self._grid(),
            *self._lengths(),
            *self._targets(),
            *(line for series, row in self._series for line in self._line(series, row)),
            *self._labels(),
            *self._words(),
        )
        return "\n".join((head, *body, "</svg>")) + "\n"

    # Words ------------------------------------------------------------------------------------

    def _title(self) -> str:
        need = self._figures.end.need
        fuel = self._study.circuit.fuel.label
        return f"Pressure line: {need.power_kw:.0f} kW at the {need.at} on {fuel}"

    def _description(self) -> str:
        parts = ", ".join(slot.passage.ref for slot in self._slots)
        return f"Gauge pressure in bar from the tank to the rail and back, past {parts}."

    def _words(self) -> Iterator[str]:
        yield _text(self._left, 26.0, self._title(), size=17, weight="bold")
        yield _text(self._left, 46.0, self._summary(), colour=_GREY)
        left = self._left
        for series, row in self._series:
            state = self._figures.end.states[row]
            yield _stroke(left, 62.0, left + 34.0, 62.0, series.colour, series.width, series.dash)
            words = f"{state.name}, rail {self._rail_bar(row)}"
            yield _text(left + 40.0, 66.0, words)
            left += 60.0 + 6.6 * len(words)
        middle = _TOP + _PLOT / 2.0
        yield (
            f'<text x="18" y="{middle:.1f}" text-anchor="middle" '
            f'transform="rotate(-90 18 {middle:.1f})">gauge pressure, bar</text>'
        )
        words = (
            "parts in the order of the fuel, drop at full load in bar; hose and tube so far in m"
        )
        yield _text(self._left, _TOP + _PLOT + self._bottom - 10.0, words, colour=_GREY)

    def _summary(self) -> str:
        power, limits = self._figures.power_kw, self._figures.without
        if power is None:
            return "The power it supports can't be told."
        words = f"supports {power:.0f} kW"
        if self._figures.injectors_limit:
            return f"{words}, as far as the injectors go"
        first = next(((r, p) for r, p in limits if p is None or p > power * 1.0005), None)
        if first is None:
            return words
        then = "no limit known" if first[1] is None else f"{first[1]:.0f} kW"
        return f"{words}; without the limit of {first[0]}: {then}"

    def _rail_bar(self, row: int) -> str:
        rail = self._figures.rail_kpa(row)
        return "not known" if rail is None else f"{rail / 100.0:.2f} bar"

    def _label(self, passage: Passage) -> str:
        """A part's ref, and what it costs at full load where that shows."""
        drop = self._figures.drop_kpa(passage, self._figures.end.full_load)
        return passage.ref + (f"  {drop / 100.0:.3f}" if drop is not None and drop >= 0.05 else "")

    def _labels(self) -> Iterator[str]:
        """Labels under the axis, slanted so that they stay apart."""
        y = _TOP + _PLOT + 34.0
        for slot, words in zip(self._slots, self._words_of, strict=True):
            x = slot.middle + 4.0
            yield (
                f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="end" font-family="monospace" '
                f'transform="rotate(-60 {x:.1f} {y:.1f})">{escape(words)}</text>'
            )

    # Frame ------------------------------------------------------------------------------------

    def _scale(self) -> tuple[float, float, float]:
        found = [
            pressure / 100.0
            for _, row in self._series
            for slot in self._slots
            for pressure in self._ends_kpa(slot.passage, row)
        ]
        low, high = min(0.0, *found), max(1.0, *found)
        step = next((s for s in _STEPS_BAR if (high - low) / s <= _MOST_TICKS), _STEPS_BAR[-1])
        return floor(low / step + 1e-9) * step, ceil(high / step - 1e-9) * step, step

    def _y(self, kpa: float) -> float:
        share = (kpa / 100.0 - self._low) / (self._high - self._low)
        return _TOP + _PLOT * (1.0 - share)

    def _bands(self) -> Iterator[str]:
        """A field for each line of the circuit, with its name."""
        begun = 0
        for at in range(1, len(self._slots) + 1):
            line = self._slots[begun].passage.line
            if at < len(self._slots) and self._slots[at].passage.line == line:
                continue
            left, right = self._slots[begun].left, self._slots[at - 1].right
            colour = _BANDS.get(line, "#ffffff")
            yield (
                f'<rect x="{left:.1f}" y="{_TOP:.1f}" width="{right - left:.1f}" '
                f'height="{_PLOT:.1f}" fill="{colour}"/>'
            )
            middle = (left + right) / 2.0
            yield _text(middle, _TOP - 6.0, line, colour=_GREY, anchor="middle")
            begun = at

    def _grid(self) -> Iterator[str]:
        ticks = round((self._high - self._low) / self._step)
        for tick in range(ticks + 1):
            bar = self._low + tick * self._step
            y = self._y(bar * 100.0)
            colour = _GREY if abs(bar) < 1e-9 else _PALE
            yield _stroke(self._left, y, self._plot_right, y, colour, 1.0)
            yield _text(self._left - 8.0, y + 4.0, f"{bar:.1f}", anchor="end")
        yield _stroke(self._left, _TOP, self._left, _TOP + _PLOT, _INK, 1.2)

    def _lengths(self) -> Iterator[str]:
        """How far along the line each hose ends, in metres."""
        bottom = _TOP + _PLOT
        yield _stroke(self._left, bottom, self._plot_right, bottom, _INK, 1.2)
        yield _text(self._left - 8.0, bottom + 18.0, "m", anchor="end", size=10)
        whole = 0.0
        for slot in self._slots:
            length = _length_mm(slot.passage)
            if length is None:
                continue
            whole += length / 1000.0
            yield _stroke(slot.right, bottom, slot.right, bottom + 4.0, _INK, 1.0)
            yield _text(slot.right, bottom + 18.0, f"{whole:.1f}", anchor="middle", size=10)

    def _targets(self) -> Iterator[str]:
        """What the rail is meant to hold, drawn over the rails."""
        assert self._study.targets is not None
        rails = [slot for slot in self._slots if slot.passage.pieces[0].item.kind == "rail"]
        for series, row in self._series:
            kpa = self._study.targets.rail_kpa(self._figures.end.states[row])
            y = self._y(kpa)
            for slot in rails:
                yield _stroke(slot.left - 8.0, y, slot.right + 8.0, y, series.colour, 5.0, "2 2")
        if rails and self._series:
            slot, row = rails[0], self._series[0][1]
            kpa = self._study.targets.rail_kpa(self._figures.end.states[row])
            words = f"wanted {kpa / 100.0:.2f}"
            yield _text(slot.middle, self._y(kpa) - 9.0, words, anchor="middle", size=11)

    # Lines ------------------------------------------------------------------------------------

    def _ends_kpa(self, passage: Passage, row: int) -> tuple[float, ...]:
        """Pressure before and behind a part; empty where it is shut off."""
        piece = passage.pieces[0]
        if piece.what in ("pump", "spill", "built-in-spill"):
            found = [self._figures.pressure_kpa(n, row) for n in (piece.start, piece.end)]
            known = [pressure for pressure in found if pressure is not None]
            return tuple(known) if len(known) == 2 else ()
        pressures = [
            pressure
            for each in passage.pieces
            if each.what not in ("spill", "built-in-spill")
            for node in (each.start, each.end)
            if (pressure := self._figures.pressure_kpa(node, row)) is not None
        ]
        return (max(pressures), min(pressures)) if pressures else ()

    def _line(self, series: _Series, row: int) -> Iterator[str]:
        drawn = [
            (slot, ends) for slot in self._slots if (ends := self._ends_kpa(slot.passage, row))
        ]
        for slot, (before, behind) in drawn:
            y0, y1 = self._y(before), self._y(behind)
            yield _stroke(slot.left, y0, slot.right, y1, series.colour, series.width, series.dash)
        for (one, (_, left)), (other, (right, _)) in pairwise(drawn):
            # Parts side by side begin where they branch off, not where their neighbour ends.
            y0, y1 = self._y(left), self._y(right)
            if abs(y1 - y0) > 0.5:
                yield _stroke(one.right, y0, other.left, y1, series.colour, 0.8, "1 3")


def _length_mm(passage: Passage) -> float | None:
    item = passage.pieces[0].item
    if item.kind not in ("hose-assembly", "bulk-hose", "hard-line"):
        return None
    return item.item.length_mm or getattr(item.part.spec, "length_mm", None)


def _reach(words: str, size: int, *, bold: bool = False) -> float:
    """The most that words may take in any usual font."""
    letters = sum(1.0 if c in "mwMW%" else 0.8 if c.isupper() else 0.66 for c in words)
    return letters * size * (1.12 if bold else 1.0)


# Shapes -----------------------------------------------------------------------------------------


def _text(
    x: float,
    y: float,
    words: str,
    *,
    colour: str = _INK,
    size: int = 12,
    anchor: str = "start",
    weight: str = "normal",
) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}" '
        f'font-weight="{weight}" fill="{colour}">{escape(words)}</text>'
    )


def _stroke(
    x0: float, y0: float, x1: float, y1: float, colour: str, width: float, dash: str = ""
) -> str:
    dashes = f" stroke-dasharray={quoteattr(dash)}" if dash else ""
    return (
        f'<line x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}" '
        f'stroke="{colour}" stroke-width="{width:g}"{dashes}/>'
    )
