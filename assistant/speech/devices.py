"""Microphone and loudspeaker through miniaudio, with one clear error where there is none."""

from __future__ import annotations

import ctypes
import queue
import sys
import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Self

import numpy as np

from assistant.errors import GivenError
from assistant.speech.audio import EAR_RATE, Samples, Sound
from assistant.speech.parts import need

if TYPE_CHECKING:
    from collections.abc import Generator, Sequence

__all__ = [
    "Loudspeaker",
    "Microphone",
    "NoSoundCardError",
    "Playback",
    "SoundCards",
    "sound_cards",
    "try_devices",
]

_BLOCK_MS: Final = 20
_KEPT_BLOCKS: Final = 500  # ten seconds of sound wait at most; then the oldest are dropped


class NoSoundCardError(GivenError):
    """There is no microphone or no loudspeaker to open."""


@dataclass(frozen=True, slots=True)
class SoundCards:
    """The names of the devices that the system offers."""

    microphones: tuple[str, ...]
    loudspeakers: tuple[str, ...]


def sound_cards() -> SoundCards:
    """List the devices; a system without a sound card gives empty lists."""
    miniaudio = need("miniaudio")
    _quiet_alsa()
    try:
        devices = miniaudio.Devices()
        if devices.backend == "Null":
            return SoundCards((), ())
        return SoundCards(_names(devices.get_captures()), _names(devices.get_playbacks()))
    except miniaudio.MiniaudioError:
        return SoundCards((), ())


def try_devices(part: str) -> None:
    """Open and close the ``microphone`` or the ``loudspeaker``; raise ``NoSoundCardError``."""
    kind, format_name = {
        "microphone": ("CaptureDevice", "input_format"),
        "loudspeaker": ("PlaybackDevice", "output_format"),
    }[part]
    _open(kind, part, EAR_RATE, format_name, None).close()


def _names(devices: Sequence[Any]) -> tuple[str, ...]:
    """Name the devices, without the one by which ALSA throws sound away."""
    return tuple(one["name"] for one in devices if not one["name"].startswith("Discard all"))


class Microphone:
    """A running microphone: 16 kHz mono samples in blocks of 20 ms.

    Use it as a context manager and iterate ``blocks``. ``backends`` are miniaudio backends to
    try; left out, those of the system. Raises ``NoSoundCardError`` where none can be opened.
    """

    def __init__(self, backends: Sequence[Any] | None = None) -> None:
        self._blocks: queue.Queue[Samples | None] = queue.Queue(maxsize=_KEPT_BLOCKS)
        self._device = _open("CaptureDevice", "microphone", EAR_RATE, "input_format", backends)
        sink = self._sink()
        next(sink)
        self._device.start(sink)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Stop the device; ``blocks`` ends."""
        self._device.close()
        self._put(None)

    def blocks(self) -> Generator[Samples]:
        """Give the sound as it comes, until the microphone is closed."""
        while (block := self._blocks.get()) is not None:
            yield block

    def read(self, timeout_s: float | None = None) -> Samples | None:
        """Give the next block, or None when none comes in time or the microphone is closed."""
        try:
            return self._blocks.get(timeout=timeout_s)
        except queue.Empty:
            return None

    def _put(self, block: Samples | None) -> None:
        while True:
            try:
                self._blocks.put_nowait(block)
            except queue.Full:
                try:
                    self._blocks.get_nowait()
                except queue.Empty:
                    continue
            else:
                return

    def _sink(self) -> Generator[None, bytes]:
        while True:
            raw = yield
            self._put(np.frombuffer(bytes(raw), dtype=np.int16))


class Playback:
    """One sound being played; it can be cut off at any time."""

    def __init__(self, sound: Sound, device: Any) -> None:
        self._samples = sound.samples
        self._rate = sound.rate
        self._device = device
        self._at = 0
        self._stopped = threading.Event()
        source = self._source()
        next(source)
        device.start(source)

    @property
    def playing(self) -> bool:
        """Whether sound still comes out."""
        return not self._stopped.is_set()

    @property
    def played_s(self) -> float:
        """How many seconds were handed to the device."""
        return self._at / self._rate

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait for the end; tell whether it came in time. Closes the device at the end."""
        ended = self._stopped.wait(timeout_s)
        if ended:
            self._device.close()
        return ended

    def stop(self) -> None:
        """Cut the sound off."""
        self._stopped.set()
        self._device.close()

    def _source(self) -> Generator[bytes, int]:
        frames = yield b""
        while self._at < len(self._samples) and not self._stopped.is_set():
            block = self._samples[self._at : self._at + frames]
            self._at += len(block)
            frames = yield block.tobytes()
        yield b""  # one empty period, so that the last block is heard before the device closes
        self._stopped.set()


class Loudspeaker:
    """Plays one sound at a time; a new one cuts the old one off.

    ``backends`` as for the microphone. ``play`` raises ``NoSoundCardError``.
    """

    def __init__(self, backends: Sequence[Any] | None = None) -> None:
        self._backends = backends
        self._now: Playback | None = None

    @property
    def playing(self) -> bool:
        """Whether sound still comes out."""
        return self._now is not None and self._now.playing

    def play(self, sound: Sound) -> Playback:
        """Start playing and come back at once."""
        self.stop()
        device = _open("PlaybackDevice", "loudspeaker", sound.rate, "output_format", self._backends)
        self._now = Playback(sound, device)
        return self._now

    def stop(self) -> None:
        """Cut off what is played, if anything is."""
        if self._now is not None:
            self._now.stop()
            self._now = None


def _open(kind: str, name: str, rate: int, format_name: str, backends: Sequence[Any] | None) -> Any:
    miniaudio = need("miniaudio")
    _quiet_alsa()
    options = {format_name: miniaudio.SampleFormat.SIGNED16}
    if backends is not None:
        options["backends"] = list(backends)
    try:
        device = getattr(miniaudio, kind)(
            nchannels=1, sample_rate=rate, buffersize_msec=_BLOCK_MS, **options
        )
    except miniaudio.MiniaudioError as error:
        raise _no_card(name) from error
    if backends is None and device.backend == "Null":
        device.close()
        raise _no_card(name)
    return device


def _no_card(name: str) -> NoSoundCardError:
    return NoSoundCardError(
        f"There is no {name} that can be opened.",
        next_step="Plug one in and choose it in the system's sound settings, or type instead.",
    )


_AlsaHandler = ctypes.CFUNCTYPE(
    None, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p
)


def _drop(*_: object) -> None:
    """Take ALSA's message and drop it; the error that is raised says what matters."""


_say_nothing = _AlsaHandler(_drop)


def _quiet_alsa() -> None:
    """Keep ALSA from printing a page where there is no sound card."""
    if not sys.platform.startswith("linux"):
        return
    try:
        ctypes.CDLL("libasound.so.2").snd_lib_error_set_handler(_say_nothing)
    except (OSError, AttributeError):
        return
