"""The review after a lesson: figures against a diagnosis of its own, and advice from them."""

from __future__ import annotations

import math

import pytest

from assistant.diagnosis.session import Diagnosis
from assistant.lessons.advice import advice_for
from assistant.lessons.events import GiveUp, Pick, RepairDone, RepairNamed
from assistant.lessons.lesson import Lesson
from assistant.lessons.plan import plan_lesson
from assistant.lessons.review import Review, review_of
from assistant.practice.words import same_repair

WORLDS = 2000


def careless() -> Lesson:
    """Play a lesson badly: live ohms, a check of no use, the amplifier blamed; then give up."""
    lesson = Lesson(plan_lesson(3, kind="van_mono"), worlds=WORLDS)
    for check in ("amp_supply", "load_ohms.sub", "amp_supply"):
        lesson.handle(Pick(check=check, go=True))
    lesson.handle(RepairNamed(repair="send_amplifier_in"))
    lesson.handle(GiveUp())
    return lesson


@pytest.fixture(scope="module")
def bad() -> Review:
    return review_of(careless(), worlds=WORLDS)


@pytest.fixture(scope="module")
def good() -> Review:
    """Play as the program would from its first two checks on."""
    lesson = Lesson(plan_lesson(3, kind="van_mono"), worlds=WORLDS)
    for check in ("amp_supply_key_off", "fuse_amp_side"):
        lesson.handle(Pick(check=check, go=True))
    lesson.handle(RepairNamed(repair="renew_main_fuse"))
    return review_of(lesson, worlds=WORLDS)


def test_the_program_plays_the_same_car_and_finds_it(bad: Review, good: Review) -> None:
    for review in (bad, good):
        assert review.program.right
        assert review.faults == ("supply.main_fuse_open",)
        assert review.fault_words == ("the main fuse is open",)
    assert bad.program == good.program
    assert not bad.right
    assert good.right


def test_the_program_heeds_the_cautions(bad: Review) -> None:
    assert all(not told.turn.danger for told in bad.program.told)
    assert [danger.check for danger in bad.dangers] == [
        "ohms of the sub speaker line at the amplifier"
    ]


def test_belief_is_that_of_a_diagnosis_of_its_own(bad: Review) -> None:
    lesson = bad.lesson
    diagnosis = Diagnosis.open(
        installation=lesson.installation,
        complaint=lesson.complaint,
        seed=lesson.plan.seed,
        worlds=WORLDS,
    )
    right = {f.repair for f in lesson.faults.values() if same_repair(f.id, bad.faults[0])}

    def held() -> float:
        return min(1.0, sum(p for name, p in diagnosis.belief().repairs if name in right))

    expected = [held()]
    for told in bad.trainee.told:
        if told.turn.reading is not None:
            assert told.bits == diagnosis.describe(told.turn.id).bits
            diagnosis.observe(told.turn.id, told.turn.reading)
        else:
            diagnosis.repaired(told.turn.id, fixed=False)
        expected.append(held())
    assert [p for _, p in bad.trainee.curve] == pytest.approx(expected)


def test_another_trouble_is_another_case() -> None:
    """A repair that mends one of two faults may leave other words of the customer."""
    plans = (plan_lesson(seed, level=3, misread=0.0) for seed in range(30))
    for plan in (plan for plan in plans if len(plan.faults) == 2):
        lesson = Lesson(plan, worlds=WORLDS)
        done = lesson.handle(RepairNamed(repair=lesson.faults[plan.faults[0]].repair))
        assert isinstance(done, RepairDone)
        if done.turn.complaint is not None:
            break
    assert done.turn.complaint == done.complaint != lesson.complaint
    fresh = Diagnosis.open(
        installation=lesson.installation,
        complaint=done.turn.complaint,
        seed=plan.seed,
        worlds=WORLDS,
    )
    assert lesson.beliefs.belief(lesson.turns) == fresh.belief()


def test_figures_hang_together(bad: Review, good: Review) -> None:
    for review in (bad, good):
        bound = math.log2(len(review.lesson.repairs) + 1)
        for run in (review.trainee, review.program):
            assert run.minutes == pytest.approx(sum(t.turn.minutes for t in run.told), abs=0.01)
            assert [m for m, _ in run.curve] == sorted(m for m, _ in run.curve)
            assert run.curve[0][0] == 0.0
            assert run.curve[-1][0] == pytest.approx(run.minutes)
            assert all(0.0 <= p <= 1.0 for _, p in run.curve)
            assert all(0.0 <= told.bits <= bound for told in run.told)
        # both begin with the same belief: the same car, the same seed, nothing measured
        assert review.trainee.curve[0] == review.program.curve[0]
    assert bad.ratio == pytest.approx(bad.trainee.minutes / bad.program.minutes)


def test_what_told_nothing_is_what_neither_promised_nor_moved(bad: Review) -> None:
    idle = [told.turn.start for told in bad.told_nothing]
    for told in bad.trainee.told:
        if told.turn.kind == "check":
            nothing = told.bits < 0.03 and abs(told.after - told.before) < 0.02
            assert (told.turn.start in idle) == nothing


def test_groups_count_as_forgotten_only_while_they_were_not_measured(bad: Review) -> None:
    groups = {missed.group for missed in bad.missed}
    # supply and load were measured, remote and signal were not, and the amplifier was blamed
    assert groups == {"remote", "signal"}
    assert all(missed.minutes > 0 for missed in bad.missed)


def test_advice_is_short_and_puts_safety_first(bad: Review, good: Review) -> None:
    for review in (bad, good):
        advice = advice_for(review)
        assert 1 <= len(advice) <= 2
        assert len(set(advice)) == len(advice)
    first, second = advice_for(bad)
    assert "still on once" in first
    assert "blamed the amplifier with remote, signal not cleared" in second
    assert not any("still on" in sentence for sentence in advice_for(good))


def test_the_same_lesson_tells_the_same(bad: Review) -> None:
    again = careless()
    assert again.turns == bad.lesson.turns
    assert again.beliefs.follow(again.turns) == bad.lesson.beliefs.follow(bad.lesson.turns)


def test_progress_is_told_and_giving_up_at_once_can_be_reviewed() -> None:
    lesson = Lesson(plan_lesson(3, kind="van_mono"), worlds=WORLDS)
    lesson.handle(GiveUp())
    said: list[str] = []
    review = review_of(lesson, worlds=WORLDS, progress=said.append)
    assert any("the program checks" in words for words in said)
    assert review.trainee.told == ()
    assert review.trainee.curve == (review.program.curve[0],)
    assert review.ratio is None
    assert 1 <= len(advice_for(review)) <= 2
