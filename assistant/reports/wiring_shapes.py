"""Shapes of the wiring drawing and the sheet that collects them.

All lengths are units of the drawing (SVG user units); y grows downward.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

from assistant.reports.textfit import fit, text_width, wrap

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.reports.measurements import NodeNotes

__all__ = [
    "LINE",
    "TAG_MOST",
    "Box",
    "Label",
    "Mark",
    "Part",
    "Sheet",
    "Tag",
    "TagLine",
    "Text",
    "Wire",
    "build_tag",
]

TAG_MOST: Final = 128.0
"""Widest value tag."""
LINE: Final = 16.0
"""Line height of labels."""
_PAD: Final = 6.0
_VALUE_SIZE: Final = 14.0
_SMALL_SIZE: Final = 11.5
_NUMBER_ROOM: Final = 23.0

Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle."""

    x: float
    y: float
    w: float
    h: float

    @property
    def right(self) -> float:
        """Right edge."""
        return self.x + self.w

    @property
    def bottom(self) -> float:
        """Bottom edge."""
        return self.y + self.h

    @property
    def cx(self) -> float:
        """Middle across."""
        return self.x + self.w / 2

    @property
    def cy(self) -> float:
        """Middle down."""
        return self.y + self.h / 2

    def overlaps(self, other: Box) -> bool:
        """Tell whether the two share an area (touching edges do not count)."""
        return (
            self.x < other.right
            and other.x < self.right
            and self.y < other.bottom
            and other.y < self.bottom
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """One line of text at its baseline; ``style`` is a class of the style sheet."""

    x: float
    y: float
    text: str
    style: str = "detail"
    anchor: Anchor = "start"


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part drawn as a box; ``suspect`` holds the words of suspicion, "" for none."""

    key: str
    box: Box
    glyph: str = ""
    suspect: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wire:
    """A run of wire through ``points``; ``kind`` is a class of the style sheet."""

    points: tuple[tuple[float, float], ...]
    kind: str
    suspect: bool = False

    @property
    def path(self) -> str:
        """The run as SVG ``points``."""
        return " ".join(f"{x:g},{y:g}" for x, y in self.points)


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A block of words beside a wire, outlined when the wire is suspect."""

    box: Box
    lines: tuple[Text, ...]
    suspect: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A probe mark: red, black, or seen (no probe)."""

    x: float
    y: float
    kind: Literal["red", "black", "seen"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TagLine:
    """One line of a value tag, ``y`` from its top; a value's first line has the ``number``."""

    y: float
    text: str
    kind: Literal["value", "small", "black"]
    number: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tag:
    """A value tag for one node."""

    node: str
    box: Box
    lines: tuple[TagLine, ...]


def build_tag(node: str, notes: NodeNotes) -> Tag:
    """Lay out the tag of ``node`` at the origin; the caller moves it to its place."""
    lines: list[TagLine] = []
    y = 4.0
    room = TAG_MOST - 2 * _PAD
    for entry in notes.red:
        value, _, jumping = entry.value.partition(", ")
        shown = str(entry.number)
        for part in wrap(value, room - _NUMBER_ROOM, _VALUE_SIZE, bold=True):
            y += 16
            lines.append(TagLine(y=y, text=part, kind="value", number=shown))
            shown = ""
        for words in (jumping, entry.state, entry.setup):
            for line in wrap(words, room, _SMALL_SIZE, most=6):
                y += 14.5 if lines[-1].kind == "value" else 13.5
                lines.append(TagLine(y=y, text=line, kind="small"))
        y += 5
    if notes.black:
        black = "black of " + ", ".join(str(number) for number in notes.black)
        for index, line in enumerate(wrap(black, room - 18, _SMALL_SIZE, most=20)):
            y += 15 if index == 0 else 13.5
            kind: Literal["black", "small"] = "small" if index else "black"
            lines.append(TagLine(y=y, text=line, kind=kind))
        y += 3
    width = max(_line_width(line) for line in lines) + 2 * _PAD
    return Tag(node=node, box=Box(0, 0, min(width, TAG_MOST), y + 3), lines=tuple(lines))


def _line_width(line: TagLine) -> float:
    if line.kind == "value":
        return _NUMBER_ROOM + text_width(line.text, _VALUE_SIZE, bold=True)
    return text_width(line.text, _SMALL_SIZE) + (18 if line.kind == "black" else 0)


@dataclass(slots=True)
class Sheet:
    """The drawing while it is laid out.

    ``suspects`` maps a part's key to the words of suspicion; ``nodes`` gets the place of every
    node that is drawn.
    """

    notes: Mapping[str, NodeNotes]
    suspects: Mapping[str, str]
    width: float
    height: float = 0.0
    parts: list[Part] = field(default_factory=list)
    wires: list[Wire] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    tags: list[Tag] = field(default_factory=list)
    leaders: list[tuple[float, float, float, float]] = field(default_factory=list)
    lamps: list[tuple[float, float]] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    nodes: dict[str, tuple[float, float]] = field(default_factory=dict)

    def room(self, node: str) -> float:
        """Give the height that the node's tag and its leader need, 0 where nothing was told."""
        notes = self.notes.get(node)
        return 0.0 if notes is None else build_tag(node, notes).box.h + 16

    def node(
        self,
        name: str,
        at: tuple[float, float],
        side: Literal["above", "below", "left", "right"],
        *,
        align: float = 0.5,
        reach: float = 14.0,
        bottom: float = 0.0,
    ) -> None:
        """Put a node at ``at``, with its marks, and its tag on ``side`` where there is one.

        ``align`` says where along the tag the leader meets it (0 start, 1 end), ``reach`` how
        far the tag keeps from the node, ``bottom`` where a tag on the left or right ends.
        """
        x, y = at
        self.nodes[name] = at
        notes = self.notes.get(name)
        if notes is None:
            return
        tag = build_tag(name, notes)
        w, h = tag.box.w, tag.box.h
        if side in {"above", "below"}:
            left = x - align * w if align not in {0.0, 1.0} else x - (14 if align == 0 else w - 14)
            top = y - reach - h if side == "above" else y + reach
            end = (x, top + h if side == "above" else top)
        else:
            left = x + reach if side == "right" else x - reach - w
            top = bottom - h
            end = (left if side == "right" else left + w, y)
        self.tags.append(Tag(node=name, box=Box(left, top, w, h), lines=tag.lines))
        self.leaders.append((x, y, *end))
        self._mark(at, notes, along="x" if side in {"above", "below"} else "y")

    def _mark(self, at: tuple[float, float], notes: NodeNotes, *, along: str) -> None:
        x, y = at
        if notes.seen_only:
            self.marks.append(Mark(x=x, y=y, kind="seen"))
            return
        kinds: list[Literal["red", "black"]] = []
        kinds += ["red"] if notes.red else []
        kinds += ["black"] if notes.black else []
        for index, kind in enumerate(kinds):
            step = (index - (len(kinds) - 1) / 2) * 17
            dx, dy = (step, 0.0) if along == "x" else (0.0, step)
            self.marks.append(Mark(x=x + dx, y=y + dy, kind=kind))

    def part(
        self,
        key: str,
        box: Box,
        words: Sequence[str],
        *,
        glyph: str = "",
        text_x: float | None = None,
        top: float | None = None,
    ) -> None:
        """Draw a part with its name, details and, where it is suspect, the words that say so."""
        suspect = self.suspects.get(key, "")
        self.parts.append(Part(key=key, box=box, glyph=glyph, suspect=suspect))
        x = box.cx if text_x is None else text_x
        anchor: Anchor = "middle" if text_x is None else "start"
        room = 2 * (box.right - x - 4) if text_x is None else box.right - x - 4
        y = box.y + 20 if top is None else top
        for index, line in enumerate([*words, suspect] if suspect and words else words):
            style = "name" if index == 0 else "detail"
            if suspect and index == len(words):
                style = "suspect-words"
            text = fit(line, room, 14 if index == 0 else 12, bold=style != "detail")
            self.texts.append(Text(x=x, y=y, text=text, style=style, anchor=anchor))
            y += LINE

    def label(
        self,
        key: str,
        at: tuple[float, float],
        words: Sequence[str],
        *,
        anchor: Anchor = "middle",
        grow: Literal["up", "down"] = "down",
        most: float = 150.0,
    ) -> Box:
        """Write words beside a wire; ``at`` is the edge they grow from. Give the box taken."""
        suspect = self.suspects.get(key, "")
        lines = [(words[0], "label")]
        lines += [
            (line, "detail") for words_ in words[1:] for line in wrap(words_, most - 12, 12.5)
        ]
        lines += [(suspect, "suspect-words")] if suspect else []
        lines = [(fit(t, most - 12, 12.5, bold=s != "detail"), s) for t, s in lines]
        width = max(text_width(t, 12.5, bold=s != "detail") for t, s in lines) + 12
        height = len(lines) * LINE + 6
        x, y = at
        left = {"start": x, "middle": x - width / 2, "end": x - width}[anchor]
        top = y if grow == "down" else y - height
        box = Box(left, top, width, height)
        texts = tuple(
            Text(x=box.cx, y=top + 15 + index * LINE, text=text, style=style, anchor="middle")
            for index, (text, style) in enumerate(lines)
        )
        self.labels.append(Label(box=box, lines=texts, suspect=bool(suspect)))
        return box

    def label_room(self, key: str, lines: int) -> float:
        """Give the height of a label with ``lines`` lines, one more when the part is suspect."""
        return (lines + (1 if key in self.suspects else 0)) * LINE + 6

    def wire(self, key: str, kind: str, *points: tuple[float, float]) -> None:
        """Draw a run of wire that belongs to the part ``key``."""
        self.wires.append(Wire(points=points, kind=kind, suspect=key in self.suspects))
