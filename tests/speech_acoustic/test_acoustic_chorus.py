"""Kokoro in torch and the blends that it speaks with; small, on the CPU, with networks made up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="torch comes with the extra 'train' only")

from assistant.speech.acoustic import chorus  # noqa: E402
from assistant.speech.acoustic.clips import read_pack  # noqa: E402
from assistant.speech.acoustic.kokoro import FRAME, ROUND, Encoded, read_weights  # noqa: E402
from assistant.speech.acoustic.spelled import Line, read_lines, write_lines  # noqa: E402
from assistant.speech.acoustic.voices import KOKORO_FOREIGN, KOKORO_TRAINING  # noqa: E402
from audio_fixtures.voices import HELD_OUT  # noqa: E402

if TYPE_CHECKING:
    from pathlib import Path

RATE = 24_000


def styles(names: tuple[str, ...]) -> dict[str, Any]:
    rng = np.random.default_rng(3)
    return {name: rng.normal(size=(120, 256)).astype(np.float32).ravel() for name in names}


def voices() -> chorus.Voices:
    return chorus.Voices(styles((*KOKORO_TRAINING, *KOKORO_FOREIGN)))


def line(words: str, sounds: int, name: str = "blend") -> Line:
    spelled = tuple(range(20, 20 + sounds))
    return Line(words=words, set=name, ways=((1, 2),), american=spelled, british=spelled)


class Humming:
    """Stands for the network: as many frames as sounds, said as a tone of 440 Hz."""

    def encode(self, tokens: Any, style: Any, speed: Any) -> Encoded:
        clips, sounds = tokens.shape
        assert len(speed) == clips
        frames = torch.full((clips, sounds), 4)
        timed, said = torch.zeros(clips, sounds, 3), torch.zeros(clips, sounds, 2)
        return Encoded(timed=timed, said=said, frames=frames, style=style)

    def decode(self, some: Encoded) -> Any:
        assert len(set(some.total.tolist())) == 1
        size = int(some.total[0]) * FRAME
        tone = 0.3 * torch.sin(2 * np.pi * 440 * torch.arange(size) / RATE)
        spots = torch.arange(size) - size // 4
        tone = tone * (spots / 600).clamp(0, 1) * ((size // 2 - spots) / 600).clamp(0, 1)
        return tone.expand(len(some.frames), -1).clone()


def test_no_voice_kept_for_testing_has_a_part_in_a_blend() -> None:
    rng = np.random.default_rng(1)
    drawn = [voices().blend(rng, 12) for _ in range(200)]
    parts = {name for named, _, _ in drawn for half in named.split("/") for name in half.split("+")}
    assert not parts & HELD_OUT
    assert parts <= {*KOKORO_TRAINING, *KOKORO_FOREIGN}
    english = sum(part in KOKORO_TRAINING for part in parts)
    assert english == len(KOKORO_TRAINING)
    assert {accent for _, accent, _ in drawn} == {"a", "b"}


def test_every_blend_is_another_and_the_seed_says_which() -> None:
    def some(seed: int) -> list[Any]:
        rng = np.random.default_rng(seed)
        return [voices().blend(rng, 9)[2] for _ in range(6)]

    one, same, other = some(5), some(5), some(6)
    assert all(np.array_equal(a, b) for a, b in zip(one, same, strict=True))
    assert not any(np.array_equal(a, b) for a, b in zip(one, other, strict=True))
    assert len({tuple(style) for style in one}) == len(one)
    assert all(style.shape == (256,) and np.isfinite(style).all() for style in one)


def test_voices_are_kept_as_they_are_saved(tmp_path: Path) -> None:
    ours = voices()
    ours.save(tmp_path / "voices.npz")
    theirs = chorus.Voices.load(tmp_path / "voices.npz")
    mine, yours = (v.blend(np.random.default_rng(2), 8)[2] for v in (ours, theirs))
    assert np.abs(mine - yours).max() < 0.02  # half precision


def test_lines_travel(tmp_path: Path) -> None:
    lines = [line("twelve point six", 9), line("good morning", 5, "other")]
    write_lines(lines, tmp_path / "lines.gz")
    assert read_lines(tmp_path / "lines.gz") == lines


def test_all_lines_are_said_once_and_cut(tmp_path: Path) -> None:
    lines = [line(f"phrase {k}", 5 + k % 3) for k in range(17)]
    told: list[str] = []
    count = chorus.say_all(
        lines,
        Humming(),  # type: ignore[arg-type]
        voices(),
        tmp_path / "pack",
        seed=3,
        device="cpu",
        tell=told.append,
    )
    assert count == len(lines)
    assert told
    pack = read_pack(tmp_path / "pack")
    assert sorted(one.clip.words for one in pack.clips) == sorted(one.words for one in lines)
    for one, sound in zip(pack.clips, pack.sounds, strict=True):
        assert one.ways == ((1, 2),)
        assert one.clip.split == "train"
        assert np.abs(sound).max() == 16_000
        # The quarter of silence before the tone is cut to 60 ms
        loud = np.flatnonzero(np.abs(sound.astype(int)) > 800)
        assert 900 <= loud[0] <= 1100
        crossings = np.count_nonzero(np.diff(np.signbit(sound[loud[0] : loud[-1]])))
        assert crossings / 2 / ((loud[-1] - loud[0]) / 16_000) == pytest.approx(440, rel=0.02)


def test_a_time_limit_ends_the_saying(tmp_path: Path) -> None:
    lines = [line("phrase", 5)] * 3
    count = chorus.say_all(
        lines,
        Humming(),  # type: ignore[arg-type]
        voices(),
        tmp_path,
        seed=3,
        device="cpu",
        minutes=-1.0,
    )
    assert count == 0
    assert not read_pack(tmp_path).clips


def test_clips_of_several_lengths_are_joined_without_changing_them() -> None:
    def some(sounds: int) -> Encoded:
        return Encoded(
            timed=torch.randn(1, sounds, 3),
            said=torch.randn(1, sounds, 2),
            frames=torch.full((1, sounds), 12 // sounds),
            style=torch.randn(1, 4),
        )

    parts = [some(3), some(6)]
    whole = Encoded.joined(parts)
    assert whole.total.tolist() == [12, 12]
    for row, part in enumerate(parts):
        sounds = part.frames.shape[1]
        again = whole.part(row)
        assert torch.equal(again.timed[:, :sounds], part.timed)
        assert torch.equal(again.said[:, :sounds], part.said)
        assert int(again.frames[:, sounds:].sum()) == 0
    assert 12 % ROUND == 0


def test_weights_of_eight_bits_are_those_that_onnxruntime_counts_with(tmp_path: Path) -> None:
    """Reference library: onnxruntime runs the same quantised layer; both agree."""
    onnx = pytest.importorskip("onnx", reason="onnx reads the network's file")
    runtime = pytest.importorskip("onnxruntime", reason="the peer of the network")
    rng = np.random.default_rng(4)
    whole = rng.integers(0, 255, (3, 2, 5)).astype(np.uint8)
    scale, zero = np.float32(0.02), np.uint8(117)
    held = {"w_quantized": whole, "w_scale": scale, "w_zero": zero, "one": np.float32(0.5)}
    held["offset"] = np.uint8(10)
    node = onnx.helper.make_node(
        "ConvInteger",
        ["x", "w_quantized", "offset", "w_zero"],
        ["y"],
        name="/a/conv_quant",
        pads=[2, 2],
        strides=[1],
        dilations=[1],
    )
    kinds = onnx.TensorProto
    graph = onnx.helper.make_graph(
        [node],
        "small",
        [onnx.helper.make_tensor_value_info("x", kinds.UINT8, [1, 2, 9])],
        [onnx.helper.make_tensor_value_info("y", kinds.INT32, [1, 3, 9])],
        [onnx.numpy_helper.from_array(np.asarray(one), name) for name, one in held.items()],
    )
    model = onnx.helper.make_model(graph, opset_imports=[onnx.helper.make_opsetid("", 17)])
    model.ir_version = 8
    path = tmp_path / "small.onnx"
    onnx.save(model, str(path))
    weights = read_weights(path)
    settings = weights["/a/conv:settings"]
    assert settings["pads"] == [2, 2]
    x = rng.integers(0, 255, (1, 2, 9)).astype(np.uint8)
    ran = runtime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
    wanted = ran.run(None, {"x": x})[0] * scale
    got = torch.nn.functional.conv1d(
        torch.from_numpy(x.astype(np.float32) - 10), torch.from_numpy(weights["/a/conv"]), padding=2
    )
    assert np.abs(got.numpy() - wanted).max() < 1e-2
