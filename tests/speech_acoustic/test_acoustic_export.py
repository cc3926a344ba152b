"""The model file, and that vosk computes from it what the recipe computes."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from assistant.errors import GivenError
from assistant.speech.acoustic import __main__ as recipe
from assistant.speech.acoustic.export import (
    between,
    folded,
    is_second,
    model_bytes,
    output_of_phone,
    posteriors,
    read_layers,
    read_model,
)
from assistant.speech.acoustic.matrixfile import in_16_bits
from assistant.speech.modeldir import builtin_directory
from assistant.speech.phonegraph import builtin_phones
from assistant.speech.secondnet import SecondNet

if TYPE_CHECKING:
    from pathlib import Path

MODEL = builtin_directory() / "am" / "final.mdl"


def test_the_built_in_model_is_what_the_recipe_writes() -> None:
    assert model_bytes(read_model(MODEL)) == MODEL.read_bytes()


def test_what_is_read_back_is_what_was_written_within_a_step(tmp_path: Path) -> None:
    layers = folded(random_weights(np.random.default_rng(4)))
    (tmp_path / "final.mdl").write_bytes(model_bytes(layers))
    read = read_model(tmp_path / "final.mdl")
    for number, ((matrix, bias), (wanted, unchanged)) in enumerate(zip(read, layers, strict=True)):
        step = in_16_bits(wanted)[1]
        inner = 0 < number < len(layers) - 1
        # Half of one of 255 levels of the column, and what its ends lose on the steps
        allowed = np.ptp(wanted, axis=0) / 255 / 2 + 2 * step if inner else step
        assert np.all(np.abs(matrix - wanted) <= allowed)
        assert np.array_equal(bias, unchanged)


def test_a_file_with_whole_floats_is_read_too(tmp_path: Path) -> None:
    matrix = np.arange(6, dtype="<f4").reshape(2, 3)
    head = b"<LinearParams> FM \x04" + struct.pack("<i", 2) + b"\x04" + struct.pack("<i", 3)
    bias = b"<BiasParams> FV \x04" + struct.pack("<i", 2) + matrix[:, 0].tobytes()
    (tmp_path / "final.mdl").write_bytes(head + matrix.tobytes() + bias)
    ((found, told),) = read_model(tmp_path / "final.mdl")
    assert np.array_equal(found, matrix)
    assert np.array_equal(told, matrix[:, 0])


def test_a_network_of_width_560_and_8_layers_stays_below_8_megabytes() -> None:
    """The bar for the ear's weights; 5.87 million of them."""
    sizes = [(560, 9 * 40), *[(560, 3 * 560)] * 6, (40, 560)]
    layers = [(np.ones(size, np.float32), np.ones(size[0], np.float32)) for size in sizes]
    assert len(model_bytes(layers)) < 8e6


def test_silence_and_blank_share_the_first_output_and_all_places_of_a_phone_share_one() -> None:
    outputs = {name: output_of_phone(name) for name in builtin_phones().ids}
    assert outputs["SIL"] == outputs["BLK_I"] == 0
    assert {outputs[f"AH_{place}"] for place in "BIES"} == {3}
    assert sorted(set(outputs.values())) == list(range(40))


def random_weights(rng: np.random.Generator, width: int = 8, bands: int = 40) -> dict[str, Any]:
    made = {"mu": rng.normal(size=bands), "sd": rng.uniform(1, 3, bands)}
    sizes = [(width, 9 * bands), *[(width, 3 * width)] * 5, (40, width)]
    for k, size in enumerate(sizes):
        made[f"c.{k}.weight"] = rng.normal(size=size) * size[1] ** -0.5
        made[f"c.{k}.bias"] = rng.normal(size=size[0])
        if k < 6:
            made[f"b.{k}.weight"] = rng.uniform(0.5, 2, width)
            made[f"b.{k}.bias"] = rng.normal(size=width)
            made[f"b.{k}.running_mean"] = rng.normal(size=width)
            made[f"b.{k}.running_var"] = rng.uniform(0.5, 2, width)
    return made


def test_folding_keeps_what_the_first_layer_computes() -> None:
    rng = np.random.default_rng(1)
    weights = random_weights(rng)
    matrix, bias = folded(weights)[0]
    x = rng.normal(size=(9, 40)) * 4
    normal = ((x - weights["mu"]) / weights["sd"]).ravel()
    affine = weights["c.0.weight"] @ normal + weights["c.0.bias"]
    deviation = np.sqrt(weights["b.0.running_var"] + 1e-5)
    wanted = (affine - weights["b.0.running_mean"]) / deviation
    wanted = wanted * weights["b.0.weight"] + weights["b.0.bias"]
    assert matrix @ x.ravel() + bias == pytest.approx(wanted, abs=1e-4)


def test_a_network_between_two_of_which_each_may_lie_in_either_kind_of_file(tmp_path: Path) -> None:
    one, other = (random_weights(np.random.default_rng(seed)) for seed in (5, 6))
    np.savez(tmp_path / "one.npz", **one)
    (tmp_path / "other.mdl").write_bytes(model_bytes(folded(other)))
    layers, others = (read_layers(tmp_path / name) for name in ("one.npz", "other.mdl"))
    made = between(layers, others, 0.25)
    for (matrix, bias), (first, start), (second, end) in zip(made, layers, others, strict=True):
        assert matrix - first == pytest.approx((second - first) / 4, abs=1e-5)
        assert bias - start == pytest.approx((end - start) / 4, abs=1e-5)
    with pytest.raises(GivenError, match="same size"):
        between(layers, folded(random_weights(np.random.default_rng(7), width=9)), 0.5)
    with pytest.raises(GivenError, match=r"share of 1\.5"):
        between(layers, others, 1.5)


def test_posteriors_add_up_to_one_and_come_for_every_third_frame() -> None:
    rng = np.random.default_rng(2)
    layers = folded(random_weights(rng))
    for frames in (1, 2, 3, 4, 50):
        logs = posteriors(layers, rng.normal(size=(frames, 40)))
        assert logs.shape == ((frames + 2) // 3, 40)
        assert np.exp(logs).sum(1) == pytest.approx(1.0)


@pytest.mark.parametrize("phone", ["AH_S", "N_S", "OW_B"])
def test_vosk_scores_a_path_as_the_recipe_does(phone: str) -> None:
    """Peer: Kaldi's decoder and nnet3 in vosk, features of kaldi-native-fbank."""
    pytest.importorskip("vosk", reason="vosk has no wheel for this machine")
    pytest.importorskip("kaldi_native_fbank", reason="kaldi-native-fbank is not installed")
    from assistant.speech.acoustic.proof import path_scores

    rng = np.random.default_rng(3)
    samples = (rng.normal(size=20_000) * np.linspace(10, 2000, 20_000)).astype(np.int16)
    vosk, numpy = path_scores(samples, phone)
    assert numpy < -20
    assert vosk == pytest.approx(numpy, abs=2e-3, rel=1e-5)


def test_the_step_export_writes_the_file_of_either_network(tmp_path: Path) -> None:
    np.savez(tmp_path / "first.npz", **random_weights(np.random.default_rng(8)))
    sizes = {"in": (8, 360), "out": (40, 8)}
    second = {f"{name}.weight": np.ones(size) for name, size in sizes.items()}
    second |= {f"{name}.bias": np.zeros(size[0]) for name, size in sizes.items()}
    second |= {"mu": np.zeros(40), "sd": np.ones(40)}
    second |= {"out.scale": np.ones(8), "out.shift": np.zeros(8)}
    np.savez(tmp_path / "second.npz", **second)
    recipe.main(["export", str(tmp_path / "first.npz"), str(tmp_path / "final.mdl")])
    assert len(read_model(tmp_path / "final.mdl")) == 7
    recipe.main(["export", str(tmp_path / "second.npz"), str(tmp_path / "made.npz")])
    assert SecondNet(tmp_path / "made.npz").posteriors(np.zeros((5, 40), np.float32)).shape == (
        2,
        40,
    )
    assert not is_second(tmp_path / "final.mdl")
