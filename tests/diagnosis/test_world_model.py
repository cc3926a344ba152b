"""Worlds drawn for an installation: spreads, rates, what is stated, repairs."""

from __future__ import annotations

import numpy as np
import pytest
from diagnosis_cases import COUPE, VAN, Car
from scipy import stats

from assistant.diagnosis.quantiles import quantile
from assistant.diagnosis.worlds import NO_FAULT, WorldModel, Worlds
from assistant.electrics.conductors import gauge_resistance_per_m
from assistant.electrics.responses import Responder
from assistant.knowledge import load
from assistant.knowledge.schema import Installation
from assistant.knowledge.templates import Spread
from assistant.readings.reading import SEEN_ANSWERS

U = np.random.default_rng(0).random(20_000, dtype=np.float32)


@pytest.mark.parametrize(
    ("spread", "oracle"),
    [
        (Spread(uniform=(2.0, 5.0)), stats.uniform(2.0, 3.0)),
        (Spread(uniform=(-0.3, 0.3)), stats.uniform(-0.3, 0.6)),
        (Spread(loguniform=(0.01, 20.0)), stats.loguniform(0.01, 20.0)),
    ],
)
def test_continuous_spreads_as_scipy_has_them(spread: Spread, oracle: object) -> None:
    values = quantile(spread, U)
    np.testing.assert_allclose(values, oracle.ppf(U), rtol=1e-4, atol=1e-5)  # type: ignore[attr-defined]


def test_discrete_spreads_have_their_shares() -> None:
    assert quantile(Spread(chance=0.3), U).mean() == pytest.approx(0.3, abs=0.015)
    assert set(np.unique(quantile(Spread(chance=0.3), U))) == {0.0, 1.0}
    picked = quantile(Spread(pick={1.0: 1.0, 2.0: 2.0, 5.0: 1.0}), U)
    for value, share in ((1.0, 0.25), (2.0, 0.5), (5.0, 0.25)):
        assert (picked == value).mean() == pytest.approx(share, abs=0.015)
    assert (quantile(Spread(const=7.5), U) == 7.5).all()
    edge = np.array([0.0, np.nextafter(np.float32(1), np.float32(0))], dtype=np.float32)
    for spread in load().spreads.scalar.values():
        assert np.isfinite(quantile(spread, edge)).all()


def worlds_of(model: WorldModel, count: int, fault: str | None = None, seed: int = 1) -> Worlds:
    slots = np.full((2, count), NO_FAULT, dtype=np.int16)
    if fault:
        slots[0] = [f.id for f in model.faults].index(fault)
    return Worlds(latents=model.draw_latents(count, np.random.default_rng(seed)), slots=slots)


@pytest.mark.parametrize("car", [COUPE, VAN, Installation()], ids=["coupe", "van", "unknown"])
def test_a_fault_changes_what_its_effect_names_and_nothing_else(car: Installation) -> None:
    model = WorldModel(car)
    sound = model.parts(worlds_of(model, 200))
    effects = {entry.id: set(entry.effect) for entry in load().fault_entries}
    for fault in model.faults:
        faulty = model.parts(worlds_of(model, 200, fault.id))
        changed = {n for n in sound.values if (sound[n] != faulty[n]).any()}
        place = fault.position or fault.pair
        template = fault.id
        if place:
            slot = "POS" if fault.position else "PAIR"
            template = fault.id.replace(f".{place}.", f".{slot}.")
        named = effects[template] | {f"{name}.{place}" for name in effects[template]}
        # A stated wire or load may put an effect of its own in the place of the usual one.
        named |= {"low_load_ratio", "low_load_at", "wire_spread_ratio"}
        assert changed <= named, fault.id
        assert changed, fault.id


@pytest.mark.parametrize("car", [COUPE, VAN], ids=["coupe", "van"])
def test_every_fault_can_be_told_from_a_sound_car_by_some_check(car: Installation) -> None:
    """Nothing is typed in per fault: what tells it follows from the network alone."""
    model = WorldModel(car)
    checks = load().checks(car)
    count = 300
    sound = Responder(model.parts(worlds_of(model, count)))
    expected = {name: np.nan_to_num(sound.predict(c.do).value, posinf=1e9)
                for name, c in checks.items()}  # fmt: skip
    for fault in model.faults:
        faulty = Responder(model.parts(worlds_of(model, count, fault.id)))
        best = 0.0
        for name, check in checks.items():
            found = faulty.predict(check.do)
            value = np.nan_to_num(found.value, posinf=1e9)
            if check.do.quantity in SEEN_ANSWERS:
                apart = float((value != expected[name]).mean())
            else:
                apart = float(stats.ks_2samp(value, expected[name]).statistic)
            if found.jumps is not None:
                apart = max(apart, float(found.jumps.mean()))
            best = max(best, apart)
        assert best > 0.25, fault.id


def test_rates_are_shares_and_follow_the_places() -> None:
    model = WorldModel(Installation())
    assert model.rates.sum() == pytest.approx(1.0)
    assert (model.rates > 0.0).all()
    by_id = dict(zip([f.id for f in model.faults], model.rates, strict=True))
    left = by_id["speaker.front_left.coil_shorted"]
    assert left == by_id["speaker.rear_right.coil_shorted"]
    # A car with more speakers does not have more speaker trouble in proportion.
    few = WorldModel(Installation.model_validate({"amplifier": {"channels": 2}}))

    def speakers(of: WorldModel) -> float:
        return float(sum(r for f, r in zip(of.faults, of.rates, strict=True) if f.position))

    assert 0.9 * speakers(few) < speakers(model) < 2.4 * speakers(few)


def test_what_is_stated_replaces_the_spread() -> None:
    raw = {
        "speakers": {"sub": {"nominal_ohms": 2}},
        "amplifier": {"channels": 1, "minimum_ohms": 1, "latches": True},
        "supply": {"wire": {"gauge": "4 AWG", "material": "copper", "length_m": 5.0}},
    }
    model = WorldModel(Installation.model_validate(raw))
    parts = model.parts(worlds_of(model, 500))
    assert (parts["nominal_ohm.sub"] == 2.0).all()
    assert (parts["minimum_ohm"] == 1.0).all()
    assert parts["latches"].mean() > 0.9
    # 0.8152 milliohm per metre at 20 degC (ASTM B258 with IEC 60028), a little more when warm.
    np.testing.assert_allclose(parts["wire_ohm"], 5.0 * 0.8152e-3, rtol=0.08)
    warm = float(gauge_resistance_per_m("4 AWG", "copper", 30.0))
    np.testing.assert_allclose(parts["wire_ohm"], 5.0 * warm, rtol=1e-5)


def test_a_wire_too_thin_on_paper_is_suspected() -> None:
    def rate(gauge: str) -> float:
        raw = {
            "amplifier": {"channels": 1, "watts_per_channel": 800, "class": "AB"},
            "supply": {"wire": {"gauge": gauge, "material": "copper", "length_m": 5.0}},
        }
        model = WorldModel(Installation.model_validate(raw))
        return float(
            model.rates[[f.id for f in model.faults].index("supply.power_wire_undersized")]
        )

    assert rate("12 AWG") > 5 * rate("1/0 AWG")


def test_a_load_too_low_on_paper_is_suspected() -> None:
    def rate(minimum: float) -> float:
        raw = {
            "amplifier": {"channels": 1, "minimum_ohms": minimum},
            "speakers": {"sub": {"nominal_ohms": 2}},
        }
        model = WorldModel(Installation.model_validate(raw))
        return float(model.rates[[f.id for f in model.faults].index("load.impedance_too_low")])

    assert rate(4.0) > 4 * rate(2.0)
    assert rate(2.0) == rate(1.0)


def test_a_repair_takes_its_fault_out_and_leaves_the_other() -> None:
    car = Car(COUPE, "supply.ground_resistive", "amp.overheats", repair_fails=0.9)
    ids = [fault.id for fault in car.model.faults]
    untouched = car.model.repaired(car.worlds, "renew_battery")
    assert (untouched.slots == car.worlds.slots).all()
    left = car.model.repaired(car.worlds, "remake_ground")
    assert [ids[n] for n in left.slots[:, 0] if n >= 0] == ["amp.overheats"]
    # What is left stands first.
    assert left.slots[0, 0] >= 0
    assert (left.latents == car.worlds.latents).all()
    fails = Car(COUPE, "supply.ground_resistive", repair_fails=0.0)
    assert (fails.model.repaired(fails.worlds, "remake_ground").slots == fails.worlds.slots).all()


def test_a_repaired_world_reads_like_a_sound_one() -> None:
    model = WorldModel(COUPE)
    faulty = worlds_of(model, 50, "speaker.front_left.wires_shorted")
    faulty.latents[model.names.index("repair_fails")] = 0.9
    mended = model.repaired(faulty, "part_speaker_wires.front_left")
    sound = Worlds(latents=faulty.latents, slots=np.full_like(faulty.slots, NO_FAULT))
    do = load().checks(COUPE)["load_ohms.front_left"].do
    np.testing.assert_array_equal(
        Responder(model.parts(mended)).predict(do).value,
        Responder(model.parts(sound)).predict(do).value,
    )
