"""Can be read: contrast of the colours, and room for the text in any usual font."""

from __future__ import annotations

import re
from importlib.resources import files
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ImageFont

from assistant.reports.textfit import fit, text_width, wrap
from assistant.reports.wiring import lay_out

if TYPE_CHECKING:
    from assistant.diagnosis.casefile import CaseFile

SHEET = files("assistant.reports").joinpath("templates/report.css").read_text(encoding="utf-8")


def palettes() -> list[dict[str, str]]:
    """Give the colours of the light, the dark and the printed page."""
    blocks = re.findall(r":root \{(.*?)\}", SHEET, flags=re.DOTALL)
    found = [dict(re.findall(r"--([\w-]+): (#[0-9a-f]{3,6})", block)) for block in blocks]
    assert len(found) == 3
    return [found[0], {**found[0], **found[1]}, {**found[0], **found[2]}]


def luminance(colour: str) -> float:
    digits = colour.lstrip("#")
    digits = "".join(d * 2 for d in digits) if len(digits) == 3 else digits
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first: str, second: str) -> float:
    bright, dark = sorted((luminance(first), luminance(second)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def test_contrast_formula_on_known_pairs() -> None:
    # WCAG 2.1, "contrast ratio": 21:1 for black on white; #767676 is the known 4.5:1 grey.
    assert contrast("#000", "#fff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("palette", palettes(), ids=("light", "dark", "print"))
def test_text_and_marks_have_contrast_enough(palette: dict[str, str]) -> None:
    # WCAG 2.1, success criteria 1.4.3 (text 4.5:1) and 1.4.11 (graphics 3:1).
    for ink in ("ink", "soft", "suspect"):
        for ground in ("page", "sheet", "panel", "suspect-bg"):
            assert contrast(palette[ink], palette[ground]) >= 4.5, (ink, ground)
    for rank in range(6):
        assert contrast(palette[f"c{rank}"], palette["sheet"]) >= 4.5, rank
    for probe in ("red", "black"):
        assert contrast("#ffffff", palette[probe]) >= 3.0
    assert contrast(palette["red"], palette["sheet"]) >= 3.0
    assert contrast(palette["black-rim"], palette["sheet"]) >= 3.0


def font(size: int, *, bold: bool) -> ImageFont.FreeTypeFont:
    """DejaVu Sans as matplotlib ships it: the widest font that the style sheet names."""
    fonts = files("matplotlib").joinpath("mpl-data/fonts/ttf")
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(fonts.joinpath(name)), size)


def test_guessed_widths_hold_in_the_widest_font(
    sample_case: CaseFile, crowded_case: CaseFile
) -> None:
    # The metrics of the DejaVu Sans font itself.
    seen = 0
    for case in (sample_case, crowded_case):
        for tag in lay_out(case, {}).tags:
            for line in tag.lines:
                bold = line.kind == "value"
                size = 14 if bold else 11
                real = font(size * 10, bold=bold).getlength(line.text) / 10
                indent = {"value": 29, "black": 23, "small": 6}[line.kind]
                assert indent + real <= tag.box.w + 2, line.text
                seen += 1
    assert seen > 100


@given(
    text=st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "Zs")), max_size=80),
    width=st.floats(30, 300),
)
def test_fitted_and_wrapped_text_keeps_its_room(text: str, width: float) -> None:
    assert text_width(fit(text, width, 12), 12) <= max(width, text_width("…", 12))
    lines = wrap(text, width, 12, most=3)
    assert len(lines) <= 3
    assert all(text_width(line, 12) <= width for line in lines)


def test_short_text_is_left_alone_and_long_text_says_so() -> None:
    assert fit("12.6 V", 100, 12) == "12.6 V"
    assert fit("a word that is too long", 60, 12).endswith("…")
    assert wrap("engine running, sound loud", 116, 11.5) == ("engine running,", "sound loud")
    assert wrap("  ", 50, 12) == ()
