"""What people of the trade know of readings, held against whole worlds.

Every fact here is common practice, no source, unless a source stands beside it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from response_worlds import POSITIONS, worlds

from assistant.electrics.load import load_trips
from assistant.electrics.meter import beep_probability
from assistant.electrics.parts import Situation
from assistant.electrics.responses import Responder
from assistant.knowledge import load
from assistant.knowledge.schema import Do, Installation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.electrics.amplifier import AmplifierState
    from assistant.electrics.parts import Parts
    from assistant.knowledge.schema import Audio, VehicleState

N = 400
SOUND_PATH = {
    "wire_contact_ohm": 1e-4, "ground_contact_ohm": 1e-4, "fuse_contact_ohm": 1e-4,
    "wire_ohm": 3e-3, "cranking_cuts_accessory": 0.0, "silence_switches_off": 0.0,
    "nominal_ohm__front_left": 4.0, "nominal_ohm__front_right": 4.0, "nominal_ohm__sub": 4.0,
}  # fmt: skip
LIGHT = ("off", "lit", "blinking")


def state(
    parts: Parts, vehicle: VehicleState, audio: Audio = "quiet", *setup: str
) -> AmplifierState:
    return Responder(parts).state(Situation(vehicle, audio, frozenset(setup)))


def light(
    parts: Parts,
    name: str,
    vehicle: VehicleState = "accessory",
    *setup: str,
    audio: Audio = "quiet",
) -> NDArray[np.str_]:
    do = Do(quantity="light", red=f"amp.{name}_light", vehicle=vehicle, audio=audio, setup=setup)
    return np.array(LIGHT)[Responder(parts).predict(do).value.astype(int)]


def held_at(volts: float, **changed: float) -> Parts:
    """Worlds whose running engine holds the amplifier's terminals at about ``volts``."""
    return worlds(
        N, seed=1, charge_v=volts, charge_limit_a=500.0, house_running_a=5.0, charge_ohm=1e-5,
        charge_slope_v_per_c=0.0, charge_ratio=0.0, surface_charge_v=-5.9, remote_limit_v=20.0,
        crank_a=0.0, latches=0.0, **{**SOUND_PATH, **changed},
    )  # fmt: skip


@pytest.mark.parametrize("volts", [11.4, 12.0, 12.6, 13.2, 13.8, 14.4, 15.0])
def test_an_amplifier_starts_between_11_and_15_volts(volts: float) -> None:
    parts = held_at(volts)
    found = state(parts, "running")
    measured = found.supply.nodes["amp.power"] - found.supply.nodes["amp.ground"]
    assert np.abs(measured - volts).max() < 0.25
    assert found.works.mean() > 0.95


def test_at_11_volts_most_start() -> None:
    assert state(held_at(11.1), "running").works.mean() > 0.8


@pytest.mark.parametrize("volts", [6.0, 7.0, 8.0])
def test_at_8_volts_and_below_none_plays(volts: float) -> None:
    # Umin of code B of ISO 16750-2 is 8 V; a chip mutes at 6.5 to 8 V (data sheet, ST TDA7850).
    assert not state(held_at(volts), "running").works.any()


def test_at_18_volts_none_plays_and_at_16_some_do() -> None:
    assert not state(held_at(18.2), "running").works.any()
    assert 0.1 < state(held_at(16.2), "running").works.mean() < 0.95


def test_bench_values_of_a_good_installation() -> None:
    # 14.4 V at the amplifier and 13.7 V on the remote lead are good.
    parts = worlds(N, seed=2, charge_v=14.4, charge_slope_v_per_c=0.0, latches=0.0, **SOUND_PATH)
    found = state(parts, "running")
    at_amp = found.supply.nodes["amp.power"] - found.supply.nodes["amp.ground"]
    remote = found.remote.at_amp - found.supply.nodes["amp.ground"]
    assert np.quantile(at_amp, 0.05) < 14.3 < np.quantile(at_amp, 0.99)
    assert np.quantile(remote, 0.05) < 13.7 < np.quantile(remote, 0.95)
    assert found.works.mean() > 0.95


def test_16_volts_running_comes_only_of_the_regulator() -> None:
    """Of all single faults none else lifts the supply of a running car to 16 V."""
    high = {}
    for fault in load().faults(Installation()):
        if fault.startswith(("supply.", "charging.", "remote.", "amp.")):
            found = state(worlds(N, seed=3, faults=(fault,)), "running")
            volts = found.supply.nodes["amp.power"] - found.supply.nodes["amp.ground"]
            high[fault] = float((volts >= 16.0).mean())
    assert high.pop("supply.charging_high") > 0.3
    assert max(high.values()) == 0.0


def test_8_or_6_volts_at_the_amplifier_come_of_a_poor_connection_though_a_light_is_on() -> None:
    poor = ("supply.main_fuse_loose", "supply.power_wire_resistive", "supply.ground_resistive")
    weight: dict[str, float] = {}
    shown_lit = 0
    for name, fault in load().faults(Installation()).items():
        if not name.startswith(("supply.", "remote.", "amp.")):
            continue
        parts = worlds(5 * N, seed=4, faults=(name,))
        found = state(parts, "accessory")
        volts = found.supply.nodes["amp.power"] - found.supply.nodes["amp.ground"]
        low = (volts > 5.5) & (volts < 8.5)
        weight[name] = fault.rate * float(low.mean())
        if name in poor:
            shown_lit += int((low & (light(parts, "power") == "lit")).sum())
    assert all(weight[name] > 0.0 for name in poor)
    assert sum(weight[name] for name in poor) > 0.85 * sum(weight.values())
    assert shown_lit > 5


@pytest.mark.parametrize("ohms", [3.5, 3.8, 4.2])
def test_a_good_4_ohm_speaker_may_read(ohms: float) -> None:
    parts = worlds(4000, seed=5, nominal_ohm__front_left=4.0)
    do = Do(quantity="resistance", red="speaker.front_left.amp_positive",
            black="speaker.front_left.amp_negative", vehicle="off", audio="off",
            setup=("disconnect:speaker.front_left",))  # fmt: skip
    sound = Responder(parts).predict(do)
    assert (np.abs(sound.value - ohms) < 0.1).mean() > 0.01
    assert sound.jumps is None
    shorted = worlds(
        4000, seed=5, nominal_ohm__front_left=4.0, faults=("speaker.front_left.coil_shorted",)
    )
    assert (Responder(shorted).predict(do).value < 0.75 * ohms).all()


def test_a_speaker_whose_reading_jumps_is_not_good() -> None:
    do = Do(quantity="resistance", red="speaker.sub.amp_positive", black="speaker.sub.amp_negative",
            vehicle="off", audio="off", setup=("disconnect:speaker.sub",))  # fmt: skip
    rubbing = Responder(worlds(N, seed=6, faults=("speaker.sub.coil_rubbing",))).predict(do)
    assert rubbing.jumps is not None
    assert rubbing.jumps.mean() > 0.4
    for fault in ("coil_shorted", "coil_open", "wires_shorted", "wire_to_chassis"):
        other = Responder(worlds(N, seed=6, faults=(f"speaker.sub.{fault}",))).predict(do)
        assert other.jumps is None


def test_a_beep_between_a_speaker_wire_and_the_body_is_a_short_to_ground() -> None:
    for place in POSITIONS:
        do = Do(quantity="continuity", red=f"speaker.{place}.amp_positive", black="chassis",
                vehicle="off", audio="off", setup=(f"disconnect:speaker.{place}",))  # fmt: skip
        for kind in ("coil_shorted", "coil_open", "wires_shorted", "coil_rubbing"):
            insulated = worlds(N, seed=7, faults=(f"speaker.{place}.{kind}",))
            assert beep_probability(Responder(insulated).predict(do).value).max() == 0.0
        leaking = worlds(N, seed=7, faults=(f"speaker.{place}.wire_to_chassis",))
        assert beep_probability(Responder(leaking).predict(do).value).mean() > 0.8


def test_a_short_trips_and_unplugged_it_trips_no_more() -> None:
    for kind in ("coil_shorted", "wires_shorted", "wire_to_chassis"):
        parts = worlds(N, seed=8, faults=(f"speaker.sub.{kind}",), **SOUND_PATH)
        before = state(parts, "accessory", "loud")
        without = state(parts, "accessory", "loud", "disconnect:speaker.sub", "cycle_remote")
        elsewhere = state(
            parts, "accessory", "loud", "disconnect:speaker.front_left", "cycle_remote"
        )
        sound = state(worlds(N, seed=8, **SOUND_PATH), "accessory", "loud")
        assert before.protects.mean() > 0.25
        assert without.works.mean() == pytest.approx(sound.works.mean(), abs=0.05)
        assert elsewhere.works.mean() < 0.8


def test_after_a_trip_some_recover_alone_and_others_want_the_remote_off_and_on() -> None:
    """A start that pulls the supply down trips; the running engine then holds it well."""
    parts = worlds(
        N, seed=9, crank_a=280.0, battery_ohm=0.014, charge_ratio=0.65, remote_threshold_v=4.5,
        **SOUND_PATH,
    )  # fmt: skip
    cranking, running = state(parts, "cranking"), state(parts, "running")
    cycled = state(parts, "running", "quiet", "cycle_remote")
    tripped = ~cranking.works & (cranking.remote.at_amp >= parts["remote_threshold_v"])
    latches = parts["latches"] > 0.5
    assert tripped.mean() > 0.3
    assert 0.2 < running.works[tripped].mean() < 0.8
    assert running.works[tripped & latches].mean() < 0.03
    assert running.works[tripped & ~latches].mean() > 0.95
    assert cycled.works[tripped].mean() > 0.95
    # So whoever unplugs something and looks at the lights must first go off and on again.
    for check in load().checks(Installation()).values():
        if check.do.quantity == "light" and any("disconnect:" in s for s in check.do.setup):
            assert "cycle_remote" in check.do.setup, check.id


def test_a_shorted_signal_lead_trips_some_amplifiers() -> None:
    parts = worlds(N, seed=10, faults=("signal.sub.shorted",), **SOUND_PATH)
    share = state(parts, "accessory").protects.mean()
    assert 0.1 < share < 0.7
    sound = state(worlds(N, seed=10, **SOUND_PATH), "accessory").protects.mean()
    for step in ("disconnect:signal", "disconnect:signal.sub"):
        without = state(parts, "accessory", "quiet", step, "cycle_remote").protects.mean()
        assert without == pytest.approx(sound, abs=0.03)
    kept = state(parts, "accessory", "quiet", "disconnect:signal.front", "cycle_remote")
    assert kept.protects.mean() == pytest.approx(share, abs=0.03)


def test_a_defective_amplifier_shows_when_all_else_is_unplugged() -> None:
    """The last suspect is what is left: bare, it still protects, is dark or gives DC."""
    bare = ("disconnect:speakers", "disconnect:signal", "cycle_remote")
    protects = worlds(N, seed=11, internal_kind=2.0, **SOUND_PATH)
    assert (light(protects, "protect", "accessory", *bare) != "off").mean() > 0.8
    dead = worlds(N, seed=11, internal_kind=1.0, **SOUND_PATH)
    assert not state(dead, "accessory", "quiet", *bare).works.any()
    sound = worlds(N, seed=11, **SOUND_PATH)
    assert (light(sound, "protect", "accessory", *bare) == "off").mean() > 0.95


def test_the_remote_lead_must_carry_the_supply() -> None:
    do = Do(quantity="dc_voltage", red="amp.remote", black="amp.ground", vehicle="accessory",
            audio="quiet")  # fmt: skip
    missing = worlds(N, seed=12, faults=("remote.missing",), **SOUND_PATH)
    assert np.abs(Responder(missing).predict(do).value).max() < 0.5
    assert not state(missing, "accessory").works.any()
    bridged = state(missing, "accessory", "quiet", "jumper:remote")
    assert bridged.works.mean() > 0.95
    low = worlds(N, seed=12, faults=("remote.low",), **SOUND_PATH)
    assert np.quantile(Responder(low).predict(do).value, 0.95) < 8.1
    drops = worlds(N, seed=12, faults=("remote.drops_on_start",), **SOUND_PATH)
    assert state(drops, "accessory").works.mean() > 0.95
    assert state(drops, "running").works.mean() < 0.6


def test_ripple_is_heard_running_and_only_running() -> None:
    # Over 0.5 V AC at the battery points at a rectifier (StarTuned, September 2007).
    parts = worlds(N, seed=13, faults=("charging.ripple",), **SOUND_PATH)
    ripple = Do(quantity="ac_voltage", red="battery.positive", black="battery.negative",
                vehicle="running", audio="off")  # fmt: skip
    assert np.median(Responder(parts).predict(ripple).value) > 0.5
    heard = {}
    for vehicle in ("running", "accessory"):
        do = Do(quantity="noise", red="noise.whine", vehicle=vehicle, audio="quiet")
        heard[vehicle] = float((Responder(parts).predict(do).value == 0).mean())
    assert heard["running"] > 0.5
    assert heard["accessory"] < 0.1


@pytest.mark.parametrize(("nominal", "minimum"), [(2.0, 1.0), (4.0, 2.0), (4.0, 4.0), (8.0, 4.0)])
def test_a_sound_load_as_rated_trips_nothing(nominal: float, minimum: float) -> None:
    parts = worlds(
        4000, seed=14, minimum_ohm=minimum,
        **{f"nominal_ohm__{place}": nominal for place in POSITIONS},
    )  # fmt: skip
    for audio, level in (("quiet", 1.0), ("loud", 2.0)):
        trips = load_trips(
            parts, Situation("accessory", audio, frozenset()), np.full(parts.count, level)
        )
        assert trips.mean() == 0.0


def current(audio: Audio) -> Do:
    return Do(
        quantity="dc_current", red="main_fuse.amp_side", black="amp.power", vehicle="accessory",
        audio=audio,
    )  # fmt: skip


def test_heat_leaves_the_amplifier_at_either_current() -> None:
    """Cool it plays and draws for the music, hot it draws next to nothing."""
    parts = worlds(
        N, heat_trips=1.0, heat_varies=1.0, hot_now=0.0, gain_high=0.0, sag_stays=0.0,
        low_trip_v=8.2, burst_ratio=1.3, rated_w=600.0, **SOUND_PATH,
    )  # fmt: skip
    found = Responder(parts).predict(current("loud"))
    plays = state(parts, "accessory", "loud").works
    assert plays.mean() > 0.8
    assert found.other is not None
    assert found.lasts is not None
    assert found.lasts.all()
    assert (found.value[plays] > 2.0).all()
    assert (found.other[plays] < 1.0).all()


def test_a_chopping_amplifier_shows_its_current_with_and_without_music() -> None:
    parts = worlds(
        N, trip_chops=1.0, gain_high=1.0, gain_trips=1.0, inner_trip_dark=0.0, sag_stays=0.0,
        low_trip_v=8.2, rated_w=600.0, **SOUND_PATH,
    )  # fmt: skip
    now = state(parts, "accessory", "loud")
    found = Responder(parts).predict(current("loud"))
    assert now.chops.mean() > 0.8
    assert found.other is not None
    np.testing.assert_allclose(found.other[now.chops], now.pulling.current[now.chops])
    assert (found.other[now.chops] > found.value[now.chops] + 1.0).all()
