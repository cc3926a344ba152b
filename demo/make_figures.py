"""Makes the pictures of README.md: from a run of the demonstration, a case by text, a lesson.

    python -m demo.make_figures [--chromium PROGRAM] [--only NAME ...]

Needs chromium and the packages of ``probetell[voice,test]``.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from io import StringIO
from pathlib import Path
from typing import Final

from PIL import Image, ImageChops
from rich.console import Console
from rich.text import Text

from assistant.reports import write_report
from demo.play import opening, play
from demo.scenario import HERE, load_scenario
from demo.text_pages import pages

__all__ = ["main"]

FIGURES: Final = HERE / "figures"
_WIDTH: Final = 96
_ANSWERS: Final = 3
"""So many answers are in the picture of the asking."""
_COLOURS: Final = 64
_MARGIN: Final = 16
_PARTS: Final = {
    "report.png": ("verdict", "reply", "order", "evidence"),
    "wiring.png": ("wiring", "belief"),
}
"""Sections of the report in each of its pictures."""
_DEMONSTRATION: Final = ("asking.png", "verdict.png", *_PARTS)
_TEXTS: Final = ("texts.png", "shop.png")
_LESSON: Final = "lesson.png"
_NAMES: Final = (*_DEMONSTRATION, *_TEXTS, _LESSON)
_TELEPHONE_WIDTH: Final = 390
_LESSON_GIVEN: Final = ("--seed", "3", "--level", "1", "--kind", "coupe_five")
_LESSON_LINES: Final = """\
protect light
battery voltage at rest
battery voltage under load
go
remote voltage at the amplifier
supply voltage at the amplifier
repair renew the main fuse
"""
"""What the trainee types: checks that tell little before the one that tells all."""


def _photograph(
    chromium: str, page: Path, out: Path, size: tuple[int, int], *, width: int | None = None
) -> None:
    """Take a picture of ``page``, cut to ``width``, without the empty rows at its end."""
    command = [
        chromium, "--headless", "--no-sandbox", "--hide-scrollbars",
        f"--window-size={size[0]},{size[1]}", f"--screenshot={out}", page.as_uri(),
    ]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True)  # noqa: S603 - no shell
    with Image.open(out) as picture:
        shown = picture.convert("RGB")
    if width is not None:
        shown = shown.crop((0, 0, width, shown.height))
    last = Image.new("RGB", shown.size)
    last.paste(shown.crop((0, shown.height - 1, shown.width, shown.height)).resize(shown.size))
    box = ImageChops.difference(shown, last).getbbox()
    if box is not None:
        shown = shown.crop((0, 0, shown.width, min(box[3] + _MARGIN, shown.height)))
    shown.quantize(_COLOURS).save(out, optimize=True)


def _part(report: Path, sections: tuple[str, ...]) -> None:
    """Hide all sections of the report but ``sections``."""
    hidden = "".join(f":not([aria-labelledby={name}])" for name in sections)
    # the whole head with the first section, else none of it and no room for it
    without = "header, footer { display: none } main { padding-top: 0 } h2 { margin-top: 1rem }"
    head = "" if "verdict" in sections else without
    style = f"<style>section{hidden} {{ display: none }} {head}</style></head>"
    text = report.read_text(encoding="utf-8").replace("</head>", style, 1)
    report.write_text(text, encoding="utf-8")


def _transcript(chromium: str, lines: list[str], out: Path, title: str) -> None:
    console = Console(record=True, file=StringIO(), width=_WIDTH, force_terminal=True)
    console.print(Text.from_ansi("\n".join(lines)))
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "transcript.html"
        svg = console.export_svg(title=title)
        page.write_text(f'<body style="margin:0">{svg}</body>', encoding="utf-8")
        # rich draws a character 12.2 wide and a line 24.4 high, in a frame of 8 and 90.
        size = (round(_WIDTH * 12.2) + 18, round((len(lines) + 1) * 24.4) + 60)
        _photograph(chromium, page, out, size)


def _demonstration(chromium: str, wanted: set[str]) -> None:
    scenario, printed = load_scenario(), StringIO()
    console = Console(file=printed, width=_WIDTH, force_terminal=True, highlight=False)
    opening(console, scenario)
    file = play(scenario, console)
    lines = printed.getvalue().rstrip("\n").split("\n")
    said = [n for n, line in enumerate(lines) if line.startswith("\x1b[36m>")]
    ending = next(n for n, line in enumerate(lines) if " verdict " in line)
    after = next(n for n in said if n > ending)
    parts = {
        "asking.png": (lines[: said[_ANSWERS + 1]], "demo/run"),
        "verdict.png": (lines[ending:after], "demo/run, later"),
    }
    for name in wanted & set(parts):
        shown, title = parts[name]
        _transcript(chromium, shown, FIGURES / name, title)
    with tempfile.TemporaryDirectory() as folder:
        for name in wanted & set(_PARTS):
            page = Path(folder) / "report.html"
            write_report(file, page)
            _part(page, _PARTS[name])
            _photograph(chromium, page, FIGURES / name, (1000, 2600))


def _texts(chromium: str, wanted: set[str]) -> None:
    made = pages()
    with tempfile.TemporaryDirectory() as folder:
        page, frame = Path(folder) / "page.html", Path(folder) / "frame.html"
        if "texts.png" in wanted:
            page.write_text(made.telephone, encoding="utf-8")
            # a window is never as narrow as a telephone, a frame in it may be
            style = f"border:0;width:{_TELEPHONE_WIDTH}px;height:1600px"
            frame.write_text(
                f'<body style="margin:0"><iframe src="page.html" style="{style}"></iframe>',
                encoding="utf-8",
            )
            out = FIGURES / "texts.png"
            _photograph(chromium, frame, out, (600, 1600), width=_TELEPHONE_WIDTH)
        if "shop.png" in wanted:
            page.write_text(made.shop, encoding="utf-8")
            _photograph(chromium, page, FIGURES / "shop.png", (820, 2000))


def _lesson(chromium: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "lesson.html"
        command = [sys.executable, "-m", "assistant", "practice", *_LESSON_GIVEN]
        subprocess.run(  # noqa: S603 - no shell
            [*command, "--report", str(page)],
            input=_LESSON_LINES, text=True, check=True, capture_output=True,
        )  # fmt: skip
        _part(page, ("belief",))
        _photograph(chromium, page, FIGURES / _LESSON, (1000, 1600))


def main(arguments: list[str] | None = None) -> int:
    """Run as a command; give the exit code."""
    parser = argparse.ArgumentParser(prog="python -m demo.make_figures")
    parser.add_argument("--chromium", default="chromium")
    parser.add_argument("--only", nargs="+", choices=_NAMES, default=_NAMES, metavar="NAME")
    given = parser.parse_args(arguments)
    FIGURES.mkdir(exist_ok=True)
    wanted = set(given.only)
    if wanted & set(_DEMONSTRATION):
        _demonstration(given.chromium, wanted)
    if wanted & set(_TEXTS):
        _texts(given.chromium, wanted)
    if _LESSON in wanted:
        _lesson(given.chromium)
    for figure in sorted(FIGURES.glob("*.png")):
        print(f"{figure.name}: {figure.stat().st_size / 1024:.0f} KiB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
