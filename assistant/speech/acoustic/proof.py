"""Proof that vosk computes from ``final.mdl`` what the recipe means, with numpy as the witness.

A graph that holds one phone for as long as the sound lasts leaves vosk one path; its score is the
sum of that phone's log posteriors over all outputs, which numpy computes from the same file.
"""

from __future__ import annotations

import json
from importlib import import_module
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.speech.acoustic.export import output_of_phone, posteriors, read_model
from assistant.speech.audio import EAR_RATE, read_sound
from assistant.speech.fstfile import Fst
from assistant.speech.modeldir import builtin_directory, write_model
from assistant.speech.phonegraph import DecodingGraph, builtin_phones

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["kaldi_features", "path_scores", "told"]


def kaldi_features(samples: NDArray[np.int16]) -> NDArray[np.float32]:
    """Give features, frames x 40, by kaldi-native-fbank with the options of ``fbank.conf``."""
    native: Any = import_module("kaldi_native_fbank")
    options = native.FbankOptions()
    options.frame_opts.dither = 0.0
    options.mel_opts.num_bins = 40
    options.mel_opts.low_freq = 20.0
    options.mel_opts.high_freq = 7600.0
    options.energy_floor = 0.0
    made = native.OnlineFbank(options)
    made.accept_waveform(EAR_RATE, samples.astype(np.float32).tolist())
    made.input_finished()
    return np.stack([made.get_frame(k) for k in range(made.num_frames_ready)])


def path_scores(samples: NDArray[np.int16], phone: str) -> tuple[float, float]:
    """Give the score of a path that holds ``phone`` throughout: vosk's and numpy's."""
    layers = read_model(builtin_directory() / "am" / "final.mdl")
    scores = posteriors(layers, kaldi_features(samples))
    return _by_vosk(samples, phone), float(scores[:, output_of_phone(phone)].sum())


def _by_vosk(samples: NDArray[np.int16], phone: str) -> float:
    vosk: Any = import_module("vosk")
    vosk.SetLogLevel(-3)
    fst, phones = Fst(), builtin_phones()
    first, held = fst.add_state(), fst.add_state()
    fst.add_arc(first, phones.forward(phone), 1, 0.0, held)
    fst.add_arc(held, phones.again(phone), 0, 0.0, held)
    fst.finals[held] = 0.0
    directory = write_model("one_phone", DecodingGraph(fst, ("<eps>", phone.lower())))
    recogniser = vosk.KaldiRecognizer(vosk.Model(str(directory)), EAR_RATE)
    recogniser.SetMaxAlternatives(1)
    recogniser.AcceptWaveform(samples.tobytes())
    return float(json.loads(recogniser.FinalResult())["alternatives"][0]["confidence"])


def told(sound: Path) -> str:
    """Give a line for each of three phones: both scores and their difference."""
    samples = read_sound(sound).samples
    rows = []
    for phone in ("SIL", "AH_S", "N_S"):
        ours, theirs = path_scores(samples, phone)
        rows.append(f"{phone:5} vosk {ours:.4f}  numpy {theirs:.4f}  apart {ours - theirs:+.5f}\n")
    return "".join(rows)
