"""The data files held against the contract: ids, repairs, checks, cautions, parameters."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
import yaml
from knowledge_cases import EVERYTHING, INSTALLATIONS, ONE_SUB, SPEAKER_LEVEL

from assistant.diagnosis.texts import reply_words
from assistant.errors import MisuseError
from assistant.knowledge import load, loader, pairs_of, positions_of
from assistant.knowledge.schema import PAIRS, POSITIONS
from assistant.readings import grammar_for
from assistant.readings.grammarfile import grammar_names, load_grammar

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.knowledge.schema import Check, Installation

KNOWLEDGE = load()
EVERYWHERE = pytest.mark.parametrize("installation", INSTALLATIONS.values(), ids=INSTALLATIONS)

PLAIN_FAULTS = (
    "supply.battery_weak", "supply.charging_low", "supply.charging_high",
    "supply.main_fuse_open", "supply.main_fuse_loose", "supply.power_wire_resistive",
    "supply.power_wire_undersized", "supply.ground_resistive", "amp.fuse_open",
    "remote.missing", "remote.low", "remote.drops_on_start", "load.impedance_too_low",
    "signal.converter_faulty", "signal.source_faulty", "signal.ground_loop",
    "charging.ripple", "amp.overheats", "amp.gain_too_high", "amp.internal",
)  # fmt: skip
SPEAKER_FAULTS = ("coil_shorted", "coil_open", "coil_rubbing", "wire_to_chassis", "wires_shorted")
SIGNAL_FAULTS = ("shorted", "shield_open")
_SECOND_NODES = (
    r"|second_battery\.(positive|negative)|second_fuse\.(wire|battery)_side"
    r"|charge_relay\.(battery|amp)_side"
)
METERED = {"dc_voltage", "ac_voltage", "resistance", "continuity", "dc_current"}


def checks_of(installation: Installation) -> list[Check]:
    return list(KNOWLEDGE.checks(installation).values())


# -- faults and repairs -----------------------------------------------------------------------


def test_every_fault_of_the_contract_exists_everywhere() -> None:
    wanted = set(PLAIN_FAULTS)
    wanted |= {f"speaker.{place}.{kind}" for place in POSITIONS for kind in SPEAKER_FAULTS}
    wanted |= {f"signal.{pair}.{kind}" for pair in PAIRS for kind in SIGNAL_FAULTS}
    assert wanted <= set(KNOWLEDGE.faults(EVERYTHING))


def test_faults_stay_within_the_installation() -> None:
    faults = KNOWLEDGE.faults(ONE_SUB).values()
    assert {fault.position for fault in faults} == {None, "sub"}
    assert {fault.pair for fault in faults} == {None, "sub"}
    # Without a converter none can be faulty.
    assert "signal.converter_faulty" not in {fault.id for fault in faults}


@EVERYWHERE
def test_every_fault_maps_to_one_repair_that_exists(installation: Installation) -> None:
    faults, repairs = KNOWLEDGE.faults(installation), KNOWLEDGE.repairs(installation)
    assert {fault.repair for fault in faults.values()} == set(repairs)
    assert all(fault.id == name for name, fault in faults.items())
    assert all(repair.id == name for name, repair in repairs.items())
    assert all(0 < fault.rate < 1 for fault in faults.values())


def test_no_repair_is_without_a_fault() -> None:
    templates = {re.sub(r"\.\w+$", "", entry.repair) for entry in KNOWLEDGE.fault_entries}
    assert {re.sub(r"\.\w+$", "", entry.id) for entry in KNOWLEDGE.repair_entries} == templates


@EVERYWHERE
def test_no_slot_is_left_open_in_any_words(installation: Installation) -> None:
    texts: list[str] = []
    for check in checks_of(installation):
        texts += [check.id, check.name, check.spoken, check.typed, check.do.red]
        texts += [check.do.black or "", *check.do.setup]
    for fault in KNOWLEDGE.faults(installation).values():
        texts += [fault.id, fault.repair, fault.words]
    for repair in KNOWLEDGE.repairs(installation).values():
        texts += [repair.id, repair.words, repair.customer]
    for text in texts:
        assert not re.search(r"[{}]|POS|PAIR", text), text
        # A slot filled with nothing leaves two blanks or a loose dot.
        assert "  " not in text, text


@EVERYWHERE
def test_what_stands_at_a_place_names_that_place(installation: Installation) -> None:
    for fault in KNOWLEDGE.faults(installation).values():
        place = fault.position or fault.pair
        if place:
            assert f".{place}." in fault.id
            assert fault.repair.endswith(f".{place}")
            assert place.replace("_", " ") in fault.words
    places = {check.position for check in checks_of(installation)} - {None}
    assert places == set(positions_of(installation))
    pairs = {check.pair for check in checks_of(installation)} - {None}
    assert pairs == set(pairs_of(installation))


def test_work_beyond_the_user_is_told_to_the_customer() -> None:
    repairs = KNOWLEDGE.repairs(EVERYTHING)
    for name in ("mend_charging", "mend_regulator", "mend_rectifier", "send_amplifier_in"):
        beyond = repairs[name].beyond_user
        assert beyond
        assert beyond in reply_words(repairs[name], (), 0.9, ())


# -- effects ----------------------------------------------------------------------------------


def test_effects_name_parameters_that_worlds_hold() -> None:
    spreads = KNOWLEDGE.spreads
    for entry in KNOWLEDGE.fault_entries:
        own = {"position": spreads.position, "pair": spreads.pair}.get(entry.each or "", {})
        own = {**own, **(spreads.second_battery if entry.needs else {})}
        held = set(spreads.scalar) | set(own)
        assert entry.effect, entry.id
        assert set(entry.effect) <= held, entry.id
        for spread in entry.effect.values():
            assert spread.opposite is None or spread.opposite in held
    kinds = (spreads.scalar, spreads.second_battery, spreads.position, spreads.pair)
    assert len(set().union(*kinds)) == sum(len(kind) for kind in kinds)


def test_no_reading_is_typed_in_for_a_fault() -> None:
    # An effect changes what a part is, not what a check shows: no entry may name a check or a
    # quantity, and every check of an id must be free of faults.
    checks = {re.sub(r"\.\{\w+\}$", "", entry.id) for entry in KNOWLEDGE.check_entries}
    faults = {entry.id for entry in KNOWLEDGE.fault_entries}
    for entry in KNOWLEDGE.fault_entries:
        assert not checks & set(entry.effect)
        assert not METERED & set(entry.effect)
    raw = yaml.safe_load(
        (loader.files("assistant.knowledge.data") / "checks.yaml").read_text("utf-8")
    )
    kinds = {fault.split(".")[-1] for fault in faults}

    def words(node: Any) -> set[str]:
        if isinstance(node, dict):
            return set(node) | {w for value in node.values() for w in words(value)}
        if isinstance(node, list):
            return {w for value in node for w in words(value)}
        return {str(node)}

    assert not words(raw) & (faults | kinds)
    numbers = [v for entry in raw for k, v in entry.items() if isinstance(v, int | float)]
    # The only numbers in a check are its minutes and how many people it takes.
    allowed = sum("minutes" in entry for entry in raw) + sum("people" in entry for entry in raw)
    assert len(numbers) == allowed


# -- checks -----------------------------------------------------------------------------------


@EVERYWHERE
def test_at_least_forty_five_checks(installation: Installation) -> None:
    checks = KNOWLEDGE.checks(installation)
    assert len(checks) >= 45
    assert all(check.id == name for name, check in checks.items())


@EVERYWHERE
def test_every_do_is_within_the_contract(installation: Installation) -> None:
    positions, pairs = "|".join(positions_of(installation)), "|".join(pairs_of(installation))
    node = re.compile(
        r"battery\.(positive|negative)|charging\.output|main_fuse\.(battery_side|amp_side)"
        r"|amp\.(power|ground|remote)|source\.remote|chassis|engine_block"
        + (_SECOND_NODES if installation.supply.second_battery else "")
        + rf"|speaker\.({positions})\.(amp_positive|amp_negative|positive|negative)"
        rf"|signal\.({pairs})\.(center|shell)"
    )
    place = re.compile(rf"amp\.(power_light|protect_light|case)|sound\.({positions})|noise\.whine")
    step = re.compile(
        rf"disconnect:(speakers|speaker\.({positions})|signal|signal\.({pairs})|remote|amp_power"
        rf"{'|second_battery' if installation.supply.second_battery else ''})"
        rf"|remove:main_fuse|jumper:remote|swap:signal\.({pairs})|substitute:source"
        r"|cycle_remote|cool_down"
    )
    for check in checks_of(installation):
        do = check.do
        assert do.vehicle in {"off", "accessory", "cranking", "running"}
        assert do.audio in {"off", "quiet", "loud"}
        if do.quantity in METERED:
            assert node.fullmatch(do.red)
            assert do.black
            assert node.fullmatch(do.black)
            assert do.red != do.black
        else:
            assert do.black is None
            assert place.fullmatch(do.red)
            kind = {"light": "_light", "sound": "sound.", "noise": "noise.", "warmth": "amp.case"}
            assert kind[do.quantity] in do.red
        assert all(step.fullmatch(s) for s in do.setup)
        assert len(set(do.setup)) == len(do.setup)


@EVERYWHERE
def test_no_two_checks_are_the_same(installation: Installation) -> None:
    checks = checks_of(installation)
    assert len({check.do for check in checks}) == len(checks)
    assert len({check.name for check in checks}) == len(checks)
    assert len({check.spoken for check in checks}) == len(checks)


def test_every_grammar_reads_what_its_check_asks() -> None:
    for check in checks_of(EVERYTHING):
        assert check.grammar in grammar_names()
        measure = load_grammar(check.grammar).measure
        assert measure is not None
        assert check.do.quantity in measure.quantities, check.id
        assert check.do.quantity in load_grammar(grammar_for(check.do.quantity)).measure.quantities  # type: ignore[union-attr]


def test_every_step_of_the_setup_has_minutes() -> None:
    labour = KNOWLEDGE.labour
    assert set(labour.vehicle) == {"off", "accessory", "cranking", "running"}
    assert set(labour.audio) == {"off", "quiet", "loud"}
    for installation in INSTALLATIONS.values():
        for check in checks_of(installation):
            assert check.place in labour.place
            for step in check.do.setup:
                kind = step if step in labour.setup else step.rsplit(".", 1)[0]
                assert labour.setup[kind] > 0, step


def test_ohms_are_asked_only_of_parts_that_are_freed() -> None:
    """Kirchhoff: with a parallel path in place an ohmmeter shows something else."""
    for check in checks_of(EVERYTHING):
        if check.do.quantity not in {"resistance", "continuity"}:
            continue
        assert check.do.vehicle == "off"
        assert check.do.audio == "off"
        if check.position:
            assert f"disconnect:speaker.{check.position}" in check.do.setup
        elif check.pair:
            assert f"disconnect:signal.{check.pair}" in check.do.setup
        elif "amp.remote" in {check.do.red, check.do.black}:
            assert "disconnect:remote" in check.do.setup
        else:
            assert "remove:main_fuse" in check.do.setup


@pytest.mark.parametrize("group", ["supply", "remote", "load", "signal"])
@EVERYWHERE
def test_every_group_can_be_cleared_by_a_check(installation: Installation, group: str) -> None:
    assert any(group in check.clears for check in checks_of(installation))


def test_speaker_level_sources_have_no_line_level_words_missing() -> None:
    # Signal pairs stay in the contract whatever feeds them.
    assert {check.pair for check in checks_of(SPEAKER_LEVEL)} - {None} == {"front", "rear"}


# -- cautions ---------------------------------------------------------------------------------


def test_cautions_exist_and_all_are_used() -> None:
    used = {caution for check in checks_of(EVERYTHING) for caution in check.cautions}
    assert used <= set(KNOWLEDGE.cautions)
    # The first caution stands in every reply instead of before one check.
    assert set(KNOWLEDGE.cautions) - used == {"procedures_first"}
    repair = next(iter(KNOWLEDGE.repairs(EVERYTHING).values()))
    text = KNOWLEDGE.cautions["procedures_first"].text
    assert text in reply_words(repair, (), 0.5, ())


def test_every_caution_names_who_asks_for_it() -> None:
    for caution in KNOWLEDGE.cautions.values():
        assert caution.source.strip()
        assert caution.text.strip().endswith(".")
        assert len(caution.short) <= 30


def touches(check: Check, *starts: str) -> bool:
    return any((end or "").startswith(starts) for end in (check.do.red, check.do.black))


def unplugs_outputs(check: Check) -> bool:
    return any(
        step.startswith(("disconnect:speaker", "disconnect:signal")) for step in check.do.setup
    )


def fuse_out(check: Check) -> bool:
    return "remove:main_fuse" in check.do.setup


# What a check is like, the cautions of which one must be said, and who asks for it.
HAZARDS: dict[str, tuple[Callable[[Check], bool], tuple[str, ...]]] = {
    "carbon monoxide (Iowa State University extension)": (
        lambda c: c.do.vehicle == "running", ("engine_running",)),
    "belts and fans (service manuals, from memory)": (
        lambda c: c.do.vehicle in {"running", "cranking"}, ("moving_parts",)),
    "nobody in the way of a cranked car (service manuals, from memory)": (
        lambda c: c.do.vehicle == "cranking", ("cranking",)),
    "resistance only on dead circuits (meter manuals)": (
        lambda c: c.do.quantity in {"resistance", "continuity"},
        ("dead_circuit", "fuse_out_before_ohms")),
    "fuse out before ohms (meter manuals)": (fuse_out, ("fuse_out_before_ohms",)),
    "jewellery off, no tool across the posts (vehicle manuals; OSHA 1910.178(g))": (
        lambda c: touches(c, "battery.", "main_fuse.", "charging.") and not fuse_out(c),
        ("battery_short",)),
    "two batteries that feed one cable (common practice, no source)": (
        lambda c: "disconnect:second_battery" in c.do.setup, ("second_battery_live",)),
    "no tool across the posts of a second battery either (OSHA 1910.178(g))": (
        lambda c: touches(c, "second_", "charge_relay."), ("battery_short",)),
    "gas of a battery in a closed space (OSHA 1910.178(g); common practice)": (
        lambda c: touches(c, "second_"), ("second_battery_gas",)),
    "sparks near a battery (OSHA 1910.178(g)(10)-(12))": (
        lambda c: c.place == "battery", ("battery_gas",)),
    "a hot case (common practice, no source)": (
        lambda c: c.do.quantity == "warmth", ("hot_amplifier",)),
    "airbag connectors in doors, pillars and dash (from memory, certain)": (
        lambda c: c.place in {"speaker", "source"}, ("airbag",)),
    "a bridged remote lead (common practice, no source)": (
        lambda c: "jumper:remote" in c.do.setup, ("jumper",)),
    "a loose power lead (common practice, no source)": (
        lambda c: "disconnect:amp_power" in c.do.setup, ("power_lead_loose",)),
    "loose output and signal wires, live (common practice, no source)": (
        lambda c: unplugs_outputs(c) and c.do.vehicle != "off", ("output_short",)),
    "loud music (common practice, no source)": (
        lambda c: c.do.audio == "loud"
        and not {"disconnect:speakers", "disconnect:signal"} & set(c.do.setup),
        ("loud",)),
}  # fmt: skip


@pytest.mark.parametrize("hazard", HAZARDS)
def test_what_could_hurt_is_said(hazard: str) -> None:
    meets, cautions = HAZARDS[hazard]
    met = {
        check.id: set(check.cautions)
        for installation in INSTALLATIONS.values()
        for check in checks_of(installation)
        if meets(check)
    }
    assert met
    assert [name for name, said in met.items() if not said & set(cautions)] == []


def test_cranking_takes_two() -> None:
    # Nobody can hold probes and turn the key (common practice, no source).
    for check in checks_of(EVERYTHING):
        assert check.people == (2 if check.do.vehicle == "cranking" else 1), check.id


# -- bad data ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "spoil"),
    [
        ("checks.yaml", lambda raw: raw[0]["do"].update(quantity="taste")),
        ("checks.yaml", lambda raw: raw[0].update(minutes=-1)),
        ("checks.yaml", lambda raw: raw[0].update(mood="good")),
        ("checks.yaml", lambda raw: raw[0].pop("spoken")),
        ("faults.yaml", lambda raw: raw[0].update(rate=0)),
        ("faults.yaml", lambda raw: raw[0].update(rate=2)),
        ("faults.yaml", lambda raw: raw[0].update(group="weather")),
        ("faults.yaml", lambda raw: raw[0]["effect"].update(charge_ratio={"uniform": [2, 1]})),
        ("faults.yaml", lambda raw: raw[0]["effect"].update(charge_ratio={})),
        ("faults.yaml", lambda raw: raw[0]["effect"].update(charge_ratio={"loguniform": [0, 1]})),
        ("repairs.yaml", lambda raw: raw[0].update(minutes=0)),
        ("cautions.yaml", lambda raw: raw[0].pop("source")),
        ("labour.yaml", lambda raw: raw["setup"].update(cycle_remote=-1)),
        ("labour.yaml", lambda raw: raw.pop("answer")),
        ("spreads.yaml", lambda raw: raw["scalar"].update(charge_v={"chance": 1.5})),
    ],
)
def test_bad_data_are_a_misuse_that_names_the_file(
    monkeypatch: pytest.MonkeyPatch, name: str, spoil: Any
) -> None:
    read = loader._read

    def spoilt(asked: str) -> Any:
        raw = read(asked)
        if asked == name:
            spoil(raw)
        return raw

    monkeypatch.setattr(loader, "_read", spoilt)
    with pytest.raises(MisuseError, match=re.escape(name)) as refused:
        load.__wrapped__()
    assert refused.value.next_step


def test_nothing_in_the_data_is_read_as_a_truth_value() -> None:
    # YAML 1.1 reads a bare off, on, yes or no as true or false.
    def walk(node: Any, path: str) -> None:
        if isinstance(node, dict):
            for key, value in node.items():
                assert not isinstance(key, bool), path
                walk(value, f"{path}.{key}")
        elif isinstance(node, list):
            for number, value in enumerate(node):
                walk(value, f"{path}[{number}]")
        elif isinstance(node, bool):
            assert path.endswith((".parts", ".live")), path

    for name in ("checks", "faults", "repairs", "cautions", "labour", "spreads"):
        walk(loader._read(f"{name}.yaml"), name)


# -- second battery ---------------------------------------------------------------------------

SECOND_FAULTS = (
    "supply.second_battery_weak", "supply.second_fuse_open", "supply.second_fuse_loose",
    "supply.second_ground_resistive",
)  # fmt: skip
RELAY_FAULTS = (
    "supply.charge_relay_open", "supply.charge_relay_burnt", "supply.charge_relay_stuck",
)  # fmt: skip


@EVERYWHERE
def test_what_belongs_to_a_second_battery_is_only_where_there_is_one(
    installation: Installation,
) -> None:
    second = installation.supply.second_battery
    relay = second is not None and second.joined != "direct"
    faults = set(KNOWLEDGE.faults(installation))
    assert (second is not None) == bool(faults & set(SECOND_FAULTS))
    assert (second is not None) == (faults >= set(SECOND_FAULTS))
    assert relay == bool(faults & set(RELAY_FAULTS)) == (faults >= set(RELAY_FAULTS))
    for check in checks_of(installation):
        assert relay or not touches(check, "charge_relay."), check.id
        assert second or not touches(check, "second_"), check.id


def test_no_dead_circuit_is_left_on_the_second_battery() -> None:
    """A second battery feeds behind the main fuse: it is unhooked wherever the fuse comes out."""
    freed = [c for c in checks_of(EVERYTHING) if {"remove:main_fuse", "disconnect:amp_power"}
             & set(c.do.setup)]  # fmt: skip
    assert freed
    for check in freed:
        assert "disconnect:second_battery" in check.do.setup, check.id
        for words in (check.spoken, check.typed):
            assert words.startswith("Second battery unhooked"), check.id
        # A voltage-sensing relay would be measured with the amplifier's input.
        if touches(check, "amp.power"):
            assert "disconnect:amp_power" in check.do.setup
            assert "power lead off" in check.spoken
            assert "power lead off" in check.typed


def test_repairs_on_live_cables_say_that_both_batteries_come_off() -> None:
    two, one = KNOWLEDGE.repairs(EVERYTHING), KNOWLEDGE.repairs(ONE_SUB)
    for name in ("renew_main_fuse", "renew_power_wire", "remake_ground", "renew_second_fuse"):
        assert "both batteries" in two[name].words, name
    assert not any("both batteries" in repair.words for repair in one.values())


@pytest.mark.parametrize("given", [True, "trunk", {}, {"joined": "direct"}])
def test_a_second_battery_is_understood(given: object) -> None:
    stated = type(ONE_SUB).model_validate({"supply": {"second_battery": given}})
    assert stated.supply.second_battery is not None
    assert stated.unknown_keys() == ()
    if given == "trunk":
        assert stated.supply.second_battery.place == "trunk"


@pytest.mark.parametrize("given", [False, None])
def test_no_second_battery_may_be_said(given: object) -> None:
    stated = type(ONE_SUB).model_validate({"supply": {"second_battery": given}})
    assert stated.supply.second_battery is None
    assert KNOWLEDGE.checks(stated).keys() == KNOWLEDGE.checks(type(ONE_SUB)()).keys()
