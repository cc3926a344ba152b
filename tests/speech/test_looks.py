"""Other opinions: what is done to the sound, how hearings are joined, when one is asked for."""

from __future__ import annotations

import itertools
import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.readings.fusion import Hypothesis
from assistant.speech.audio import EAR_RATE, Samples
from assistant.speech.looks import Look, changed, spoken_part, together
from assistant.speech.opinion import Opinion
from assistant.speech.phonegraph import OTHER_WORDS
from assistant.speech.vosk_stream import Told, VoskStream

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from assistant.speech.events import Heard

_LOOKS = (Look(pace=0.97), Look(pace=0.9, tilt=-0.8), Look(pace=1.1, tilt=0.4))


def _tone(hertz: float, seconds: float = 0.5) -> Samples:
    times = np.arange(int(seconds * EAR_RATE)) / EAR_RATE
    tone: Samples = (8000 * np.sin(2 * np.pi * hertz * times)).round().astype(np.int16)
    return tone


def _level(sound: Samples) -> float:
    return float(np.sqrt(np.mean(sound.astype(np.float64) ** 2)))


def _found(**scores: float) -> list[Hypothesis]:
    return [Hypothesis(text=text, score=score) for text, score in scores.items()]


def _scores(found: Sequence[Hypothesis]) -> dict[str, float]:
    return {one.text: one.score for one in found}


def test_a_plain_look_changes_nothing() -> None:
    assert np.array_equal(changed(_tone(440.0), Look()), _tone(440.0))


@pytest.mark.parametrize("pace", [0.9, 1.1])
def test_a_slower_pace_is_longer_and_lower(pace: float) -> None:
    sound = changed(_tone(1000.0), Look(pace=pace))
    assert len(sound) == pytest.approx(0.5 * EAR_RATE / pace, abs=2)
    loudest = np.abs(np.fft.rfft(sound)).argmax() * EAR_RATE / len(sound)
    assert loudest == pytest.approx(1000.0 * pace, abs=2 * EAR_RATE / len(sound))


def test_below_zero_is_duller_and_above_is_sharper() -> None:
    """The gain of 1 - k z^-1 at a frequency is |1 - k exp(-iw)| (any text on digital filters)."""
    low, high = 500.0, 4000.0
    both = (_tone(low).astype(np.int32) + _tone(high)).astype(np.int16)
    for tilt in (-0.8, -0.5, 0.5):
        heard = np.abs(np.fft.rfft(changed(both, Look(tilt=tilt)).astype(np.float64)))
        found = heard[int(low / 2)] / heard[int(high / 2)]
        gains = [abs(1 - tilt * np.exp(-2j * np.pi * at / EAR_RATE)) for at in (low, high)]
        assert found == pytest.approx(gains[0] / gains[1], rel=0.02)
        assert (found > 1) == (tilt < 0)


@given(
    st.lists(st.integers(-32768, 32767), max_size=400),
    st.floats(0.8, 1.25),
    st.floats(-0.95, 0.95),
)
def test_any_sound_stays_a_sound_no_louder_than_it_was(
    values: list[int], pace: float, tilt: float
) -> None:
    sound = np.array(values, dtype=np.int16)
    heard = changed(sound, Look(tilt=tilt))
    assert heard.dtype == np.int16
    assert len(heard) == len(sound)
    if len(sound):
        assert _level(heard) <= _level(sound) + 1.0
    assert changed(sound, Look(pace=pace, tilt=tilt)).dtype == np.int16


def test_quiet_at_the_ends_is_left_out_but_for_a_little() -> None:
    """A tone of half a second; 30 dB is a thousandth of its power, 0.15 s stay on either side."""
    quiet = np.full(EAR_RATE, 20, dtype=np.int16)
    tone, kept = _tone(440.0), 15 * EAR_RATE // 100
    part = spoken_part(np.concatenate([quiet, tone, quiet]))
    assert np.array_equal(part, np.concatenate([quiet[:kept], tone, quiet[:kept]]))
    faint = np.concatenate([_tone(440.0) // 30, tone])  # 29.5 dB below is speech
    assert np.array_equal(spoken_part(faint), faint)


@given(st.lists(st.integers(-32768, 32767), max_size=2000))
def test_what_is_left_out_is_only_at_the_ends(values: list[int]) -> None:
    sound = np.array(values, dtype=np.int16)
    part = spoken_part(sound)
    places = range(len(sound) - len(part) + 1)
    assert any(np.array_equal(sound[at : at + len(part)], part) for at in places)
    assert np.abs(part.astype(int)).max(initial=0) == np.abs(sound.astype(int)).max(initial=0)


# --- joining -------------------------------------------------------------------------------


def test_the_mean_decides_and_the_nearest_look_tells_how_sure() -> None:
    first = _found(fifteen=-10.0, fifty=-11.0, sixteen=-14.0)
    second = _found(fifty=-20.0, fifteen=-23.0, sixteen=-24.0)
    third = _found(fifty=-5.0, fifteen=-9.0)
    # Below the best of each: fifteen 0, -3, -4; fifty -1, 0, 0; sixteen -4, -4, -10.
    joined = together([first, second, third])
    assert [one.text for one in joined] == ["fifty", "fifteen", "sixteen"]
    scores = _scores(joined)
    assert scores["fifty"] == pytest.approx(-1 / 3)
    assert scores["fifteen"] == pytest.approx(-1 / 3)  # it was ahead in the first look
    assert scores["sixteen"] == pytest.approx(-1 / 3 - 3.0)  # as near as in the first


def test_how_near_a_rival_is_lies_between_the_mean_and_the_nearest_look() -> None:
    hearings = [_found(fifty=-1.0, sixty=-2.0), _found(fifty=-1.0, sixty=-6.0)]
    for worst, behind in ((0.0, 3.0), (0.5, 2.0), (1.0, 1.0)):
        scores = _scores(together(hearings, worst=worst))
        assert scores["fifty"] - scores["sixty"] == pytest.approx(behind)


def test_the_first_hearing_may_count_more() -> None:
    hearings = [
        _found(five=-1.0, four=-8.0),
        _found(four=-1.0, five=-4.0),
        _found(four=-2.0, five=-6.0),
    ]
    for first, winner, ahead in ((1.0, "five", 0.0), (2.0, "five", 7 / 4), (0.5, "four", 7 / 5)):
        joined = together(hearings, worst=0.0, first=first)
        assert joined[0].text == winner
        assert joined[0].score - joined[1].score == pytest.approx(ahead)


def test_silence_and_other_words_keep_their_mean_and_never_win() -> None:
    first = [*_found(lit=-5.0), Hypothesis(text="", score=-4.0)]
    second = [*_found(lit=-7.0), Hypothesis(text="", score=-1.0)]
    scores = _scores(together([first, second], apart=("",)))
    assert scores == pytest.approx({"": 0.0, "lit": -3.5})
    assert together([[Hypothesis(text="", score=-4.0)], []], apart=("",))[0].text == ""


def test_nothing_heard_stays_nothing() -> None:
    assert together([]) == []
    assert together([[], []]) == []


_HEARING = st.dictionaries(st.sampled_from("abcde"), st.floats(-60, 0), min_size=1).map(
    lambda scores: [Hypothesis(text=text, score=score) for text, score in scores.items()]
)


@given(_HEARING)
def test_one_hearing_keeps_its_order_and_its_distances(hearing: list[Hypothesis]) -> None:
    top = max(one.score for one in hearing)
    joined = _scores(together([hearing]))
    assert joined == pytest.approx({one.text: one.score - top for one in hearing})


@given(st.lists(_HEARING, min_size=1, max_size=4))
def test_the_winner_is_never_surer_than_in_any_hearing(hearings: list[list[Hypothesis]]) -> None:
    """Where the nearest hearing alone counts, as it does unless told otherwise."""
    joined = together(hearings)
    assert len({one.text for one in joined}) == len(joined)
    assert all(a.score >= b.score for a, b in itertools.pairwise(joined))
    top = joined[0].score
    for hearing in hearings:
        scores = _scores(hearing)
        for rival in joined[1:]:
            if joined[0].text in scores and rival.text in scores:
                ahead = scores[joined[0].text] - scores[rival.text]
                assert top - rival.score <= max(0.0, ahead) + 1e-9


@given(st.lists(_HEARING, min_size=2, max_size=4))
def test_the_order_of_looks_does_not_matter(hearings: list[list[Hypothesis]]) -> None:
    def nearest(joined: list[Hypothesis]) -> list[float]:
        return [one.score for one in joined]

    assert nearest(together(hearings)) == pytest.approx(nearest(together(hearings[::-1])))


# --- when ----------------------------------------------------------------------------------


class _Decoder:
    """Always tells the same."""

    def __init__(self, answer: dict[str, float]) -> None:
        self._answer = answer

    def SetMaxAlternatives(self, count: int) -> None:  # noqa: N802 - vosk's name
        assert count > 1

    def AcceptWaveform(self, raw: bytes) -> bool:  # noqa: N802 - vosk's name
        assert len(raw) % 2 == 0
        return False

    def FinalResult(self) -> str:  # noqa: N802 - vosk's name
        told = [{"text": text, "confidence": score} for text, score in self._answer.items()]
        return json.dumps({"alternatives": told})


class _Opinion(Opinion):
    """Gives the next of ``answers``, then the last; ``asked`` are the lengths of the sounds."""

    def __init__(self, answers: Sequence[dict[str, float]]) -> None:
        self._answers = answers
        self.asked: list[int] = []

    def of(self, sound: Samples, texts: Collection[str]) -> list[Hypothesis]:
        answer = self._answers[min(len(self.asked), len(self._answers) - 1)]
        self.asked.append(len(sound))
        assert {*texts} - {"", OTHER_WORDS}
        return [Hypothesis(text=text, score=score) for text, score in answer.items()]


def _stream(
    first: dict[str, float],
    *opinions: dict[str, float],
    doubt: float = 4.0,
    asked_behind: float = 0.0,
    number_behind: float = 0.0,
    worst: float = 1.0,
    first_counts: float = 1.0,
    nearer: float = 0.0,
) -> tuple[VoskStream, _Opinion]:
    """Give a stream whose decoder tells ``first``; the second network the same, or ``opinions``."""
    opinion = _Opinion(opinions or [first])
    told = Told(
        accepts=lambda words: words != ("never",),
        name="made up",
        other_words=-3.0,
        asked_behind=asked_behind,
        number_behind=number_behind,
        silence_behind=3.0,
        opinion=opinion,
        looks=_LOOKS,
        doubt=doubt,
        worst=worst,
        first=first_counts,
        nearer=nearer,
        grammar="volts",
    )
    stream = VoskStream(lambda: _Decoder(first), told)
    stream.feed(_tone(440.0))
    return stream, opinion


def _heard(first: dict[str, float], *opinions: dict[str, float], **figures: float) -> Heard:
    return _stream(first, *opinions, **figures)[0].finish()


@pytest.mark.parametrize(
    ("first", "looks"),
    [
        ({"twelve": -10.0, "eleven": -13.9}, 3),  # a rival that is close
        ({"twelve": -10.0, "eleven": -14.1}, 0),
        ({"twelve": -10.0}, 0),
        ({"twelve": -10.0, OTHER_WORDS: -3.1}, 3),  # 3.9 over the limit: refused, but closely
        ({"twelve": -10.0, OTHER_WORDS: -2.9}, 0),
        ({"twelve": -10.0, OTHER_WORDS: -10.9}, 3),  # 3.9 below it
        ({"twelve": -10.0, OTHER_WORDS: -11.1}, 0),
        ({"twelve": -10.0, "": -12.0}, 3),  # just within what silence may be behind
        ({"twelve": -10.0, "": -20.0}, 0),
    ],
)
def test_only_what_comes_out_close_is_looked_at_again(first: dict[str, float], looks: int) -> None:
    stream, opinion = _stream(first)
    stream.finish()
    assert len(opinion.asked) == 1 + looks
    assert opinion.asked[0] == len(_tone(440.0))
    assert opinion.asked[1:] == [len(changed(_tone(440.0), look)) for look in _LOOKS[:looks]]


@pytest.mark.parametrize("first", [{"": -3.0}, {OTHER_WORDS: -3.0}])
def test_where_no_phrase_is_listed_nobody_else_is_asked(first: dict[str, float]) -> None:
    stream, opinion = _stream(first)
    stream.finish()
    assert opinion.asked == []


def test_an_opinion_can_make_close_what_was_not_and_settle_what_was() -> None:
    far, near = {"twelve": -10.0, "eleven": -16.0}, {"twelve": -10.0, "eleven": -11.0}
    for first, second, looks in ((far, near, 3), (far, far, 0), (near, {"twelve": -1.0}, 0)):
        stream, opinion = _stream(first, second, worst=0.0)
        assert stream.finish().text == "twelve"
        assert len(opinion.asked) == 1 + looks


def test_both_networks_count_alike() -> None:
    heard = _heard({"twelve": -10.0, "eleven": -16.0}, {"twelve": -30.0, "eleven": -20.0})
    assert heard.text == "eleven"
    told = _heard({"twelve": -10.0, "eleven": -16.0}, {"twelve": -9.0, "eleven": -19.0}, worst=0.0)
    assert told.margin == pytest.approx(8.0)


def test_the_first_network_counts_more_where_the_second_hears_often() -> None:
    five, four = {"five": -10.0, "four": -17.0}, {"four": -10.0, "five": -13.0}
    # Five is 7 ahead in the first network, four 3 in each of the second's four hearings
    for counts, text, margin in ((1.0, "four", 5 / 5), (2.0, "five", 2 / 6)):
        heard = _heard(five, four, worst=0.0, first_counts=counts, doubt=9.0)
        assert heard.text == text
        assert heard.margin == pytest.approx(margin)
    for counts in (1.0, 2.0):  # looked at once only, both count alike
        heard = _heard(five, four, worst=0.0, first_counts=counts, doubt=1.9)
        assert (heard.text, heard.margin) == ("five", pytest.approx(2.0))


def test_a_long_sound_is_left_to_the_first_network() -> None:
    stream, opinion = _stream({"twelve": -10.0, "eleven": -11.0})
    stream.feed(_tone(440.0, 31.0))
    assert stream.finish().text == "twelve"
    assert opinion.asked == []


def test_an_opinion_may_refuse_what_was_taken_and_take_what_was_refused() -> None:
    near = {"twelve": -10.0, OTHER_WORDS: -8.0}  # 1 below the limit
    far = {"twelve": -10.0, OTHER_WORDS: -2.0}  # 5 above it
    assert _heard(near).kind == "phrase"
    assert _heard(near, far).kind == "other_words"
    over = {"twelve": -10.0, OTHER_WORDS: -6.0}  # 1 above it
    assert _heard(over).kind == "other_words"
    assert _heard(over, {"twelve": -10.0}).kind == "phrase"


def test_a_phrase_a_little_behind_other_words_is_given_to_be_asked_back() -> None:
    over = {"twelve volts": -10.0, OTHER_WORDS: -6.0}  # 1 above the limit
    heard = _heard(over, asked_behind=1.5)
    assert (heard.kind, heard.text, heard.outweighed) == ("phrase", "twelve volts", True)
    assert heard.other_words == pytest.approx(heard.hypotheses[0].score + 1.0)
    assert _heard(over, asked_behind=0.5, number_behind=5.0).kind == "other_words"
    assert not _heard({"twelve": -10.0, OTHER_WORDS: -7.5}).outweighed


def test_a_number_of_one_word_may_be_further_behind() -> None:
    over = {"twelve": -10.0, OTHER_WORDS: -3.0}  # 4 above the limit
    heard = _heard(over, asked_behind=0.5, number_behind=4.5)
    assert (heard.kind, heard.outweighed) == ("phrase", True)
    assert _heard(over, asked_behind=4.5, number_behind=0.5).kind == "other_words"
    for odd in ("point", "twelve volts", "beep"):
        told = {odd: -10.0, OTHER_WORDS: -3.0}
        assert _heard(told, number_behind=4.5).kind == "other_words"


def test_hearings_that_disagree_leave_no_margin() -> None:
    first = {"twelve": -10.0, "eleven": -12.0}
    heard = _heard(first, {"eleven": -9.0, "twelve": -9.5})
    assert heard.text == "twelve"
    assert heard.margin == 0.0
    told = _heard(first, {"twelve": -9.0, "eleven": -15.0})
    assert told.text == "twelve"
    assert told.margin == pytest.approx(2.0)


def test_of_quiet_nobody_is_asked() -> None:
    stream, opinion = _stream({"twelve": -10.0, "eleven": -10.5})
    quiet = VoskStream(lambda: _Decoder({"twelve": -10.0}), stream._told)
    quiet.feed(np.zeros(EAR_RATE, dtype=np.int16))
    assert quiet.finish().kind == "silence"
    assert opinion.asked == []


def test_rivals_count_as_nearer_than_they_came_but_never_as_ahead() -> None:
    first = {"fifteen volts": -10.0, "fifty volts": -16.0, "sixteen volts": -17.0}
    heard = _heard(first, nearer=2.5)
    told = {one.text: one.score for one in heard.hypotheses}
    assert told == pytest.approx({"fifteen volts": 0.0, "fifty volts": -3.5, "sixteen volts": -4.5})
    near = _heard({"fifteen volts": -10.0, "fifty volts": -11.0}, nearer=2.5)
    assert (near.text, near.margin) == ("fifteen volts", 0.0)
