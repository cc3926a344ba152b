"""Batches made ready while the network learns from those before.

On a GPU three work at the same time: a process draws clips and their rivals, a thread makes
features of them, and the network learns. Elsewhere a batch is drawn and made when asked for.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import queue
import threading
from typing import TYPE_CHECKING, Any, Final

import torch

from assistant.errors import MisuseError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from multiprocessing.queues import Queue

    from assistant.speech.acoustic.augment import Augmenter
    from assistant.speech.acoustic.drawing import Drawer, Drawn
    from assistant.speech.acoustic.rivals import Phones

__all__ = ["DrawnAhead", "Feeder"]

_AHEAD: Final = 3
_DRAWN: Final = 12
_PATIENCE: Final = 5.0


class DrawnAhead:
    """What ``drawer`` draws, drawn in a process of its own; the same batches in the same order.

    Raises ``MisuseError`` at the batch that a process which has ended can't draw.
    """

    def __init__(self, drawer: Drawer) -> None:
        spawned = multiprocessing.get_context("spawn")
        self._drawn: Queue[Drawn] = spawned.Queue(_DRAWN)
        self._process = spawned.Process(target=_draw, args=(drawer, self._drawn), daemon=True)
        self._process.start()

    def __iter__(self) -> Iterator[Drawn]:
        return self

    def __next__(self) -> Drawn:
        while True:
            try:
                return self._drawn.get(timeout=_PATIENCE)
            except queue.Empty:
                if not self._process.is_alive():
                    raise MisuseError(
                        "The process that draws batches has ended.",
                        next_step="Read what it wrote to standard error.",
                    ) from None

    def close(self) -> None:
        """Stop drawing."""
        self._process.terminate()
        self._process.join()


def _draw(drawer: Drawer, drawn: Queue[Drawn]) -> None:
    for one in drawer:
        drawn.put(one)


class Feeder:
    """Batches made ready: features, frames of each clip, targets and their rivals.

    The features are made on a stream of their own, so that neither the sounds nor the network
    wait for the other. ``near_clean`` is the share left almost as recorded.
    """

    def __init__(self, augmenter: Augmenter, drawer: Drawer) -> None:
        self.near_clean = 0.125
        self._augmenter = augmenter
        self._device = augmenter.speech.flat.device
        self._ready: queue.Queue[Any] = queue.Queue(_AHEAD)
        self._over = threading.Event()
        self._elsewhere: DrawnAhead | None = None
        self._thread: threading.Thread | None = None
        if self._device.type == "cuda":
            self._elsewhere = DrawnAhead(drawer)
            self._thread = threading.Thread(target=self._make, daemon=True)
        self._drawn: Iterator[Drawn] = self._elsewhere or iter(drawer)
        if self._thread is not None:
            self._thread.start()

    def __iter__(self) -> Feeder:
        return self

    def __next__(self) -> tuple[Any, Any, list[Phones], list[list[Phones]]]:
        if self._thread is None:
            return self._next()
        made = self._ready.get()
        if isinstance(made, Exception):
            raise made
        features, frames, targets, rivals, finished = made
        here = torch.cuda.current_stream(self._device)
        here.wait_event(finished)
        features.record_stream(here)
        frames.record_stream(here)
        return features, frames, targets, rivals

    def close(self) -> None:
        """Stop making batches."""
        self._over.set()
        while self._thread is not None and self._thread.is_alive():
            with contextlib.suppress(queue.Empty):
                self._ready.get(timeout=0.1)
        if self._elsewhere is not None:
            self._elsewhere.close()

    def _next(self) -> tuple[Any, Any, list[Phones], list[list[Phones]]]:
        drawn = next(self._drawn)
        picks = torch.tensor(drawn.picks, device=self._device)
        with torch.no_grad():
            features, frames = self._augmenter.batch(picks, near_clean=self.near_clean)
        return features, frames, drawn.targets, drawn.rivals

    def _make(self) -> None:
        stream = torch.cuda.Stream(self._device)
        try:
            with torch.cuda.stream(stream):
                while not self._over.is_set():
                    made = self._next()
                    finished = torch.cuda.Event()
                    finished.record(stream)
                    self._ready.put((*made, finished))
        except Exception as error:  # noqa: BLE001 - told where the batch is waited for
            self._ready.put(error)
