"""Makes the pictures of README.md from a run of the demonstration.

    python -m demo.make_figures [--chromium PROGRAM]

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


def _photograph(chromium: str, page: Path, out: Path, size: tuple[int, int]) -> None:
    """Take a picture of ``page`` without the empty rows at its end."""
    command = [
        chromium, "--headless", "--no-sandbox", "--hide-scrollbars",
        f"--window-size={size[0]},{size[1]}", f"--screenshot={out}", page.as_uri(),
    ]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True)  # noqa: S603 - no shell
    with Image.open(out) as picture:
        shown = picture.convert("RGB")
    last = Image.new("RGB", shown.size)
    last.paste(shown.crop((0, shown.height - 1, shown.width, shown.height)).resize(shown.size))
    box = ImageChops.difference(shown, last).getbbox()
    if box is not None:
        shown = shown.crop((0, 0, shown.width, min(box[3] + _MARGIN, shown.height)))
    shown.quantize(_COLOURS).save(out, optimize=True)


def _part(report: Path, sections: tuple[str, ...]) -> None:
    """Hide all sections of the report but ``sections``."""
    hidden = "".join(f":not([aria-labelledby={name}])" for name in sections)
    head = "" if "verdict" in sections else "header, footer { display: none }"
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


def main(arguments: list[str] | None = None) -> int:
    """Run as a command; give the exit code."""
    parser = argparse.ArgumentParser(prog="python -m demo.make_figures")
    parser.add_argument("--chromium", default="chromium")
    given = parser.parse_args(arguments)
    FIGURES.mkdir(exist_ok=True)
    scenario, printed = load_scenario(), StringIO()
    console = Console(file=printed, width=_WIDTH, force_terminal=True, highlight=False)
    opening(console, scenario)
    file = play(scenario, console)
    lines = printed.getvalue().rstrip("\n").split("\n")
    said = [n for n, line in enumerate(lines) if line.startswith("\x1b[36m>")]
    ending = next(n for n, line in enumerate(lines) if " verdict " in line)
    after = next(n for n in said if n > ending)
    asking = lines[: said[_ANSWERS + 1]]
    _transcript(given.chromium, asking, FIGURES / "asking.png", "demo/run")
    _transcript(given.chromium, lines[ending:after], FIGURES / "verdict.png", "demo/run, later")
    with tempfile.TemporaryDirectory() as folder:
        for name, sections in _PARTS.items():
            page = Path(folder) / "report.html"
            write_report(file, page)
            _part(page, sections)
            _photograph(given.chromium, page, FIGURES / name, (1000, 2600))
    for figure in sorted(FIGURES.glob("*.png")):
        print(f"{figure.name}: {figure.stat().st_size / 1024:.0f} KiB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
