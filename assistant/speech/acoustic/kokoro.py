"""Kokoro-82M in torch, for many clips at a time: the network of its ONNX file, on any device.

The 8-bit weights of the file are made floats once and the layers are run on whole batches, which
onnxruntime's graph cannot do. Clips of a batch have equally many sounds; those decoded together
have equally many frames, so that nothing needs a mask: the silence at the end is drawn out by up
to ``ROUND`` - 1 frames. Design of the network: StyleTTS 2 (Y. A. Li et al., 2023) with an
ISTFTNet vocoder (T. Kaneko et al., 2022) over harmonics of the pitch (X. Wang et al., 2019).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import torch
import torch.nn.functional as fn

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["FRAME", "ROUND", "Encoded", "Kokoro", "read_weights"]

FRAME: Final = 600
"""Samples of a frame, at 24 kHz."""
ROUND: Final = 4
"""Clips are drawn out to a multiple of so many frames."""
_HALF: Final = 128
_HIDDEN: Final = 256
_HEADS: Final = 12
_LAYERS: Final = 12
_RATE: Final = 24_000
_WINDOW: Final = 20
_STEP: Final = 5
_PITCH_STEP: Final = FRAME // 2
_BERT: Final = "encoder.bert.encoder.albert_layer_groups.0.albert_layers.0."
_MATRICES: Final = frozenset({"MatMulInteger", "MatMul", "ConvInteger", "Conv", "ConvTranspose"})


def _array(held: Any) -> Any:
    return import_module("onnx").numpy_helper.to_array(held)


def read_weights(path: Path) -> dict[str, Any]:
    """Read the file's weights as float arrays, and the settings of its convolutions.

    Weights are named by their layer: ``/encoder/F0.1/conv1`` for that of a node, and as in the
    file for biases and norms. A quantised one is (whole number - zero point) times scale.
    """
    graph = import_module("onnx").load(str(path)).graph
    held = {one.name: _array(one) for one in graph.initializer}
    weights: dict[str, Any] = {
        name: one.astype(np.float32) for name, one in held.items() if one.dtype == np.float32
    }

    def floats(name: str, zero: str = "") -> Any:
        whole = held[name]
        if whole.dtype == np.float32:
            return whole
        scale = held[name.removesuffix("_quantized") + "_scale"]
        offset = held[zero] if zero else np.zeros_like(scale)
        if whole.ndim == 3 and scale.ndim == 1:
            scale = scale[:, None, None]
            offset = offset.astype(np.int32).reshape(scale.shape)
        return (whole.astype(np.float32) - offset.astype(np.float32)) * scale

    for node in graph.node:
        settings = {one.name: list(one.ints) or one.i for one in node.attribute}
        layer = node.name.removesuffix("_quant")
        if node.op_type in _MATRICES and node.input[1] in held:
            zero = node.input[3] if node.op_type.endswith("Integer") else ""
            weights[layer] = floats(node.input[1], zero)
            weights[layer + ":settings"] = settings
        elif node.op_type == "DynamicQuantizeLSTM":
            weights[layer] = floats(node.input[1])
            weights[layer + ":again"] = floats(node.input[2])
            weights[layer + ":bias"] = held[node.input[3]]
    for name in [one for one in held if "embedding" in one and one.endswith("_quantized")]:
        weights[name.removesuffix("_quantized")] = floats(name)
    return weights


@dataclass(slots=True)
class Encoded:
    """What is to be said, before it is sound: clips x sounds x (640 and 512), frames of each."""

    timed: Any
    said: Any
    frames: Any
    style: Any

    @property
    def total(self) -> Any:
        """Frames of each clip."""
        return self.frames.sum(1)

    def part(self, row: int) -> Encoded:
        """Give one clip, as a batch of one."""
        some = slice(row, row + 1)
        return Encoded(
            timed=self.timed[some],
            said=self.said[some],
            frames=self.frames[some],
            style=self.style[some],
        )

    @staticmethod
    def joined(some: list[Encoded]) -> Encoded:
        """Join clips; those with fewer sounds get sounds of no frames at the end."""
        most = max(one.frames.shape[1] for one in some)

        def drawn_out(one: Any) -> Any:
            if one.dim() == 3:
                return fn.pad(one, (0, 0, 0, most - one.shape[1]))
            return fn.pad(one, (0, most - one.shape[1]))

        return Encoded(
            timed=torch.cat([drawn_out(one.timed) for one in some]),
            said=torch.cat([drawn_out(one.said) for one in some]),
            frames=torch.cat([drawn_out(one.frames) for one in some]),
            style=torch.cat([one.style for one in some]),
        )


class Kokoro:
    """The network on a device. ``encode`` gives lengths, ``decode`` the sound at 24 kHz."""

    def __init__(self, weights: dict[str, Any], device: str = "cpu") -> None:
        self._device = device
        self._settings = {n: one for n, one in weights.items() if n.endswith(":settings")}
        self._w = {
            name: torch.from_numpy(np.array(one)).to(device)
            for name, one in weights.items()
            if name not in self._settings
        }
        # Node names of the twelve runs of the one transformer layer differ by a number only
        prefix = "/encoder/bert/encoder/albert_layer_groups.0/albert_layers.0/"
        self._bert = {
            part: self._w[f"{prefix}{part}/MatMul"]
            for part in (
                *("attention/query", "attention/key", "attention/value", "attention/dense"),
                *("ffn", "ffn_output"),
            )
        }
        self._lstms = {
            name.removesuffix("/LSTM"): self._lstm(name)
            for name in self._w
            if name.endswith("/LSTM")
        }

    def _lstm(self, name: str) -> Any:
        inputs, again, bias = (self._w[name + end] for end in ("", ":again", ":bias"))
        made = torch.nn.LSTM(inputs.shape[1], _HIDDEN, batch_first=True, bidirectional=True)
        # The file has the gates as in, out, forget, cell; torch wants in, forget, cell, out
        order = torch.cat([torch.arange(_HIDDEN) + k * _HIDDEN for k in (0, 2, 3, 1)])
        with torch.no_grad():
            for side, end in enumerate(("", "_reverse")):
                for part, held in (("ih", inputs), ("hh", again)):
                    getattr(made, f"weight_{part}_l0{end}").copy_(held[side].T[order])
                halves = bias[side].view(2, -1)
                for part, half in zip(("ih", "hh"), halves, strict=True):
                    getattr(made, f"bias_{part}_l0{end}").copy_(half[order])
        return made.to(self._device).requires_grad_(requires_grad=False)

    def encode(self, tokens: Any, style: Any, speed: Any) -> Encoded:
        """Encode clips: ``tokens`` clips x sounds, ``style`` clips x 256, ``speed`` clips.

        The frames of the last token, silence, are drawn out so that each clip's are a multiple
        of ``ROUND``.
        """
        manner = style[:, _HALF:, None].transpose(1, 2).expand(-1, tokens.shape[1], -1)
        x = self._dense("/encoder/bert_encoder/MatMul", self._words(tokens))
        x = x + self._w["encoder.bert_encoder.bias"]
        x = torch.cat([x, manner], 2)
        for number in (0, 2, 4):
            x = self._lstms[f"/encoder/predictor/text_encoder/lstms.{number}"](x)[0]
            scale, shift = self._styled(
                f"encoder.predictor.text_encoder.lstms.{number + 1}", style[:, _HALF:]
            )
            x = fn.layer_norm(x, x.shape[2:], eps=1e-5)
            x = x * (1 + scale[:, None]) + shift[:, None]
            x = torch.cat([x, manner], 2)
        lasting = self._lstms["/encoder/predictor/lstm"](x)[0]
        lasting = self._dense("/encoder/predictor/duration_proj/linear_layer/MatMul", lasting)
        lasting = lasting + self._w["encoder.predictor.duration_proj.linear_layer.bias"]
        frames = (lasting.sigmoid().sum(2) / speed[:, None]).round().clamp(min=1).long()
        frames[:, -1] += (-frames.sum(1)) % ROUND
        return Encoded(timed=x, said=self._letters(tokens), frames=frames, style=style)

    def decode(self, some: Encoded) -> Any:
        """Give the sound, clips x samples at 24 kHz, of clips with equally many frames."""
        clips, sounds = some.frames.shape
        count = int(some.total[0])
        ends = some.frames.cumsum(1)
        spots = torch.arange(count, device=self._device)[None].expand(clips, -1).contiguous()
        which = torch.searchsorted(ends, spots, right=True).clamp(max=sounds - 1)[:, :, None]
        timed = some.timed.gather(1, which.expand(-1, -1, some.timed.shape[2]))
        said = some.said.gather(1, which.expand(-1, -1, some.said.shape[2])).transpose(1, 2)
        manner, voice = some.style[:, _HALF:], some.style[:, :_HALF]
        shared = self._lstms["/encoder/shared"](timed)[0].transpose(1, 2)
        curves = []
        for name in ("F0", "N"):
            x = shared
            for number in range(3):
                x = self._block(f"/encoder/{name}.{number}", "encoder.predictor", x, manner)
            curves.append(self._conv(f"/encoder/{name}_proj", f"encoder.predictor.{name}_proj", x))
        top = "/decoder/decoder/"
        pitch, loud = (
            self._conv(f"{top}{name}_conv", f"decoder.decoder.{name}_conv", x)
            for name, x in zip(("F0", "N"), curves, strict=True)
        )
        x = self._block(f"{top}encode", "", torch.cat([said, pitch, loud], 1), voice)
        rest = self._conv(f"{top}asr_res/asr_res.0", "decoder.decoder.asr_res.0", said)
        for number in range(4):
            x = torch.cat([x, rest, pitch, loud], 1)
            x = self._block(f"{top}decode.{number}", "", x, voice)
        return self._sound(x, self._harmonics(curves[0][:, 0]), voice)

    def _dense(self, layer: str, x: Any) -> Any:
        return x @ self._w[layer]

    def _styled(self, name: str, style: Any) -> tuple[Any, Any]:
        """Give the scale and shift that a style makes of a layer, clips x channels each."""
        node = "/" + name.replace(".adain", "/adain").replace(".norm", "/norm").replace(
            "encoder.predictor.F0", "encoder/F0"
        ).replace("encoder.predictor.N", "encoder/N").replace(
            "encoder.predictor.text_encoder.", "encoder/predictor/text_encoder/"
        ).replace("decoder.decoder.", "decoder/decoder/").replace("generator.", "generator/")
        made = style @ self._w[f"{node}/fc/Gemm_MatMul"] + self._w[f"{name}.fc.bias"]
        scale, shift = made.chunk(2, 1)
        return scale, shift

    def _adapted(self, name: str, x: Any, style: Any) -> Any:
        scale, shift = self._styled(name, style)
        x = fn.instance_norm(x, eps=1e-5)
        return torch.addcmul(shift[:, :, None], x, 1 + scale[:, :, None])

    def _conv(self, node: str, name: str, x: Any) -> Any:
        settings = self._settings[f"{node}/Conv:settings"]
        return fn.conv1d(
            x,
            self._w[f"{node}/Conv"],
            self._w.get(f"{name}.bias"),
            stride=settings["strides"][0],
            padding=settings["pads"][0],
            dilation=settings["dilations"][0],
        )

    def _raised(self, node: str, name: str, x: Any) -> Any:
        settings = self._settings[f"{node}/ConvTranspose:settings"]
        return fn.conv_transpose1d(
            x,
            self._w[f"{node}/ConvTranspose"],
            self._w[f"{name}.bias"],
            stride=settings["strides"][0],
            padding=settings["pads"][0],
            output_padding=(settings.get("output_padding") or [0])[0],
            groups=settings["group"],
        )

    def _block(self, node: str, within: str, x: Any, style: Any) -> Any:
        """Run a residual block with two convolutions, doubled in time where it has a pool."""
        last = node.rsplit("/", 1)[1]
        name = f"{within or 'decoder.decoder'}.{last}"
        rest = fn.leaky_relu(self._adapted(f"{name}.norm1", x, style), 0.2)
        if f"{node}/pool/ConvTranspose" in self._w:
            rest = self._raised(f"{node}/pool", f"{name}.pool", rest)
            x = x.repeat_interleave(2, 2)
        rest = self._conv(f"{node}/conv1", f"{name}.conv1", rest)
        rest = fn.leaky_relu(self._adapted(f"{name}.norm2", rest, style), 0.2)
        rest = self._conv(f"{node}/conv2", f"{name}.conv2", rest)
        if f"{node}/conv1x1/Conv" in self._w:
            x = self._conv(f"{node}/conv1x1", f"{name}.conv1x1", x)
        return (rest + x) / math.sqrt(2)

    def _words(self, tokens: Any) -> Any:
        """Run the transformer over the sounds: clips x sounds x 768."""
        w = self._w
        kinds, places = (
            w[f"encoder.bert.embeddings.{name}_embeddings.weight"]
            for name in ("token_type", "position")
        )
        x = w["encoder.bert.embeddings.word_embeddings.weight"][tokens]
        x = x + kinds[0] + places[: tokens.shape[1]]
        x = self._normed("encoder.bert.embeddings.LayerNorm", x, 1e-12)
        x = self._dense("/encoder/bert/encoder/embedding_hidden_mapping_in/MatMul", x)
        x = x + w["encoder.bert.encoder.embedding_hidden_mapping_in.bias"]
        for _ in range(_LAYERS):
            parts = []
            for part in ("query", "key", "value"):
                made = x @ self._bert[f"attention/{part}"] + w[f"{_BERT}attention.{part}.bias"]
                parts.append(made.unflatten(2, (_HEADS, -1)).transpose(1, 2))
            seen = fn.scaled_dot_product_attention(*parts).transpose(1, 2).flatten(2)
            seen = seen @ self._bert["attention/dense"] + w[f"{_BERT}attention.dense.bias"]
            x = self._normed(f"{_BERT}attention.LayerNorm", x + seen, 1e-12)
            more = x @ self._bert["ffn"] + w[f"{_BERT}ffn.bias"]
            more = fn.gelu(more, approximate="tanh") @ self._bert["ffn_output"]
            more = more + w[f"{_BERT}ffn_output.bias"]
            x = self._normed(f"{_BERT}full_layer_layer_norm", more + x, 1e-12)
        return x

    def _normed(self, name: str, x: Any, floor: float) -> Any:
        return fn.layer_norm(
            x, x.shape[2:], self._w[f"{name}.weight"], self._w[f"{name}.bias"], floor
        )

    def _letters(self, tokens: Any) -> Any:
        """Encode the sounds as such: clips x sounds x 512."""
        x = self._w["encoder.text_encoder.embedding.weight"][tokens].transpose(1, 2)
        for number in range(3):
            name = f"encoder.text_encoder.cnn.{number}"
            x = self._conv(
                f"/encoder/text_encoder/cnn.{number}/cnn.{number}.0", f"{name}.0", x
            ).transpose(1, 2)
            gamma, beta = self._w[f"{name}.1.gamma"], self._w[f"{name}.1.beta"]
            x = fn.leaky_relu(fn.layer_norm(x, x.shape[2:], gamma, beta, 1e-5), 0.2)
            x = x.transpose(1, 2)
        return self._lstms["/encoder/text_encoder/lstm"](x.transpose(1, 2))[0]

    def _harmonics(self, pitch: Any) -> Any:
        """Give strength and phase of the voice's buzz, clips x 22 x steps, of a pitch in hertz."""
        number = torch.arange(1, 10, device=self._device, dtype=torch.float64)
        turn = (pitch.double()[:, None] * number[:, None] / _RATE) % 1.0
        turn = turn.cumsum(2) * (2 * math.pi * _PITCH_STEP)
        size = turn.shape[2] * _PITCH_STEP
        turn = fn.interpolate(turn, size=size, mode="linear", align_corners=False)
        voiced = (pitch > 10.0).float().repeat_interleave(_PITCH_STEP, 1)
        waves = turn.sin().float() * 0.1 * voiced[:, None]
        mixed = (
            waves.transpose(1, 2) @ self._w["/decoder/decoder/generator/m_source/l_linear/MatMul"]
        )
        buzz = (mixed[:, :, 0] + self._w["decoder.decoder.generator.m_source.l_linear.bias"]).tanh()
        window = torch.hann_window(_WINDOW, device=self._device)
        seen = torch.stft(buzz, _WINDOW, _STEP, window=window, return_complex=True)
        return torch.cat([seen.abs(), seen.angle()], 1)

    def _sound(self, x: Any, buzz: Any, voice: Any) -> Any:
        node, name = "/decoder/decoder/generator/", "decoder.decoder.generator."
        for turn in range(2):
            own = self._conv(f"{node}noise_convs.{turn}", f"{name}noise_convs.{turn}", buzz)
            own = self._resonant(f"noise_res.{turn}", own, voice)
            x = self._raised(f"{node}ups.{turn}", f"{name}ups.{turn}", fn.leaky_relu(x, 0.1))
            if turn == 1:
                x = fn.pad(x, (1, 0), mode="reflect")
            x = x + own
            x = sum(self._resonant(f"resblocks.{3 * turn + k}", x, voice) for k in range(3)) / 3
        x = self._conv(f"{node}conv_post", f"{name}conv_post", fn.leaky_relu(x, 0.01))
        strength, phase = x.chunk(2, 1)
        strength, phase = strength.exp(), phase.sin()
        parts = torch.cat([strength * phase.cos(), strength * phase.sin()], 1)
        basis = self._w[f"{node}istft/stft/ConvTranspose"]
        wave = fn.conv_transpose1d(parts, basis, stride=_STEP)[:, 0]
        return wave[:, _WINDOW // 2 : -(_WINDOW // 2)] * (_WINDOW / _STEP)

    def _resonant(self, part: str, x: Any, voice: Any) -> Any:
        node, name = f"/decoder/decoder/generator/{part}", f"decoder.decoder.generator.{part}"
        for turn in range(3):
            more = x
            for half in "12":
                more = self._adapted(f"{name}.adain{half}.{turn}", more, voice)
                pace = self._w[f"{name}.alpha{half}.{turn}"]
                more = more + (more * pace).sin().square() / pace
                layer = f"convs{half}.{turn}"
                more = self._conv(f"{node}/{layer}", f"{name}.{layer}", more)
            x = x + more
        return x
