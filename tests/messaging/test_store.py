"""What any store of text messages does: in memory, in SQLite, in PostgreSQL."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assistant.conversation.events import Typed
from assistant.errors import GivenError, MisuseError
from assistant.messaging.faults import ClaimLostError
from assistant.messaging.records import Acceptance, IncomingText

sys.path.insert(0, str(Path(__file__).parent))

from store_talk import (
    ANNA,
    BERT,
    CARA,
    answer,
    at,
    bodies,
    claim,
    converse,
    event,
    states,
    take,
    text,
)

if TYPE_CHECKING:
    from assistant.messaging.records import MessageStore


def test_a_message_is_accepted_once(message_store: MessageStore) -> None:
    assert message_store.accept(text("m1")) == Acceptance(fresh=True, answered=False)
    assert message_store.accept(text("m1")) == Acceptance(fresh=False, answered=False)
    assert message_store.waiting() == 1


def test_whatever_a_customer_writes_comes_back_unchanged(message_store: MessageStore) -> None:
    words = "12.6 Ω – “odd” \x00 \U0001f600 \u202eabc \ud800 " + "x" * 1600
    message = IncomingText(
        message_id="m1", number=ANNA, text=words, received=at(0), media=2, place=True
    )
    message_store.accept(message)
    assert claim(message_store).message == message


@pytest.mark.parametrize("message_id", ["", "a\x00b", "x" * 121, "\ud800"])
def test_an_id_that_no_database_keeps_is_refused(
    message_store: MessageStore, message_id: str
) -> None:
    with pytest.raises(GivenError, match="id"):
        message_store.accept(text(message_id))
    assert message_store.waiting() == 0


def test_a_number_that_was_not_normalised_is_a_mistake_of_the_program(
    message_store: MessageStore,
) -> None:
    with pytest.raises(MisuseError, match=r"E\.164") as caught:
        message_store.accept(text("m1", "(212) 555-0142"))
    assert "555" not in str(caught.value)


def test_the_reply_goes_into_the_webhooks_answer_and_nowhere_else(
    message_store: MessageStore,
) -> None:
    converse(message_store, text("m1"), "one", "two")
    given = Acceptance(fresh=False, answered=True, inline=("one", "two"))
    assert message_store.accept(text("m1")) == Acceptance(fresh=False, answered=True)
    assert message_store.answer_inline("m1") == given
    assert take(message_store) == ()
    # The carrier did not get it and asks again: the same answer.
    assert message_store.accept(text("m1")) == given
    assert message_store.answer_inline("m1") == given


def test_what_a_delivery_has_is_not_given_to_the_webhook(message_store: MessageStore) -> None:
    number_id = converse(message_store, text("m1"), "one", "two")
    assert bodies(take(message_store, count=1)) == ["one"]
    assert message_store.answer_inline("m1").inline == ("two",)
    assert states(message_store, number_id) == [("one", "sending"), ("two", "inline")]


def test_an_answer_is_awaited_and_an_unknown_id_is_said(message_store: MessageStore) -> None:
    message_store.accept(text("m1"))
    assert message_store.answer_inline("m1") == Acceptance(fresh=False, answered=False)
    with pytest.raises(MisuseError, match="m7"):
        message_store.answer_inline("m7")


def test_replies_wait_for_the_webhook_until_they_are_due(message_store: MessageStore) -> None:
    message_store.accept(text("m1"))
    answer(message_store, claim(message_store), "one", due=12)
    assert take(message_store, seconds=11) == ()
    assert bodies(take(message_store, seconds=12)) == ["one"]


def test_what_a_person_says_is_not_the_answer_to_a_message(message_store: MessageStore) -> None:
    number_id = converse(message_store, text("m1"))
    message_store.say(number_id, person="Jo", bodies=["hello"], now=at(3))
    assert message_store.answer_inline("m1").inline == ()
    assert bodies(take(message_store)) == ["hello"]


def test_messages_of_a_number_are_worked_on_one_after_the_other(
    message_store: MessageStore,
) -> None:
    for message in (text("a1"), text("b1", BERT), text("a2")):
        message_store.accept(message)
    first, second = claim(message_store, "w1"), claim(message_store, "w2")
    assert (first.message.message_id, first.later) == ("a1", True)
    assert (second.message.message_id, second.later) == ("b1", False)
    assert message_store.claim("w3", now=at(1), until=at(9)) is None
    answer(message_store, first)
    assert claim(message_store, "w3").message.message_id == "a2"
    assert message_store.waiting() == 2


def test_order_is_that_of_acceptance_whatever_time_a_message_tells(
    message_store: MessageStore,
) -> None:
    message_store.accept(text("m1", seconds=50))
    message_store.accept(text("m2", seconds=10))
    assert claim(message_store, seconds=60).message.message_id == "m1"


def test_a_claim_that_ran_out_passes_to_the_next_worker(message_store: MessageStore) -> None:
    message_store.accept(text("m1"))
    late = claim(message_store, "w1", seconds=1, lease=10)
    assert message_store.claim("w2", now=at(10), until=at(20)) is None
    taken = claim(message_store, "w2", seconds=11)
    with pytest.raises(ClaimLostError):
        answer(message_store, late, "late", events=[event("c", 0)])
    answer(message_store, taken, "in time")
    with pytest.raises(ClaimLostError):
        answer(message_store, late, "late")
    with pytest.raises(ClaimLostError):
        answer(message_store, taken, "twice")
    assert bodies(take(message_store)) == ["in time"]
    with pytest.raises(MisuseError, match="no case"):
        message_store.case_events("c")


def test_a_worker_that_came_back_under_its_name_has_no_old_claim(
    message_store: MessageStore,
) -> None:
    message_store.accept(text("m1"))
    old = claim(message_store, "w1", lease=10)
    new = claim(message_store, "w1", seconds=11)
    with pytest.raises(ClaimLostError):
        answer(message_store, old, "old")
    answer(message_store, new, "new")
    assert bodies(take(message_store)) == ["new"]


def test_a_supervisor_frees_what_a_dead_worker_held(message_store: MessageStore) -> None:
    converse(message_store, text("c1", CARA), "reply")
    take(message_store, "w1")
    message_store.accept(text("a1"))
    message_store.accept(text("b1", BERT))
    claim(message_store, "w2")
    gone = claim(message_store, "w1")
    assert message_store.release("w1") == 2
    assert message_store.release("w1") == 0
    with pytest.raises(ClaimLostError):
        answer(message_store, gone)
    assert claim(message_store, "w3").message == gone.message
    (again,) = take(message_store, "w3", seconds=4)
    assert (again.body, again.attempts, again.interrupted) == ("reply", 1, True)


def test_an_outcome_is_kept_whole(message_store: MessageStore) -> None:
    message_store.accept(text("m1"))
    told = [event("c", 0, key="m1"), event("c", 1, Typed(text="12.6 Ω \x00")), event("d", 0)]
    answer(
        message_store,
        claim(message_store),
        "reply",
        events=told,
        closed=["c"],
        case_id="d",
        cases=("c", "d"),
        memory='{"asked": "amp"}',
    )
    assert list(message_store.case_events("c")) == [told[0].entry, told[1].entry]
    message_store.accept(text("m2"))
    work = claim(message_store)
    assert (work.thread.case_id, work.thread.cases) == ("d", ("c", "d"))
    assert work.thread.memory == '{"asked": "amp"}'
    answer(message_store, work, events=[event("d", 1)], case_id="c", cases=("c",), memory="")
    view = message_store.thread(work.thread.number_id)
    assert (view.thread.case_id, view.thread.cases, view.thread.memory) == ("c", ("c",), "")


@pytest.mark.parametrize("sequence", [0, 1, 3])
def test_a_case_that_has_gone_on_takes_nothing_of_an_outcome(
    message_store: MessageStore, sequence: int
) -> None:
    number_id = converse(message_store, text("m1"), events=[event("c", 0), event("c", 1)])
    message_store.accept(text("m2"))
    work = claim(message_store)
    with pytest.raises(ClaimLostError):
        answer(
            message_store, work, "no", events=[event("new", 0), event("c", sequence)], memory="x"
        )
    assert len(message_store.case_events("c")) == 2
    with pytest.raises(MisuseError):
        message_store.case_events("new")
    assert states(message_store, number_id) == []
    assert message_store.thread(number_id).thread.memory == ""
    answer(message_store, work, "yes", events=[event("c", 2)])
    assert message_store.waiting() == 0


def test_an_event_with_a_key_that_was_kept_is_not_kept_again(message_store: MessageStore) -> None:
    converse(message_store, text("m1"), events=[event("c", 0), event("c", 1, key="k")])
    message_store.accept(text("m2"))
    with pytest.raises(ClaimLostError):
        answer(message_store, claim(message_store), events=[event("c", 2, key="k")])


def test_an_outcome_of_another_number_is_refused(message_store: MessageStore) -> None:
    other = converse(message_store, text("b1", BERT))
    message_store.accept(text("a1"))
    with pytest.raises(MisuseError, match="another number"):
        answer(message_store, claim(message_store), number_id=other)


def test_a_stop_keeps_back_all_but_its_confirmation(message_store: MessageStore) -> None:
    number_id = converse(message_store, text("m1"), "check the fuse", "then the ground")
    converse(message_store, text("m2", words="STOP"), "You are out.", opted_out=True)
    assert bodies(take(message_store)) == ["You are out."]
    converse(message_store, text("m3", words="STOP"), "Again?", opted_out=True)
    converse(message_store, text("m4", words="hello?"), "Hi!")
    assert take(message_store) == ()
    assert states(message_store, number_id) == [
        ("check the fuse", "withheld"),
        ("then the ground", "withheld"),
        ("You are out.", "sending"),
        ("Again?", "withheld"),
        ("Hi!", "withheld"),
    ]
    with pytest.raises(GivenError, match="no more messages"):
        message_store.say(number_id, person="Jo", bodies=["but"], now=at(4))
    assert message_store.answer_inline("m4").inline == ()
    converse(message_store, text("m5", words="START"), "Welcome back.", opted_out=False)
    assert bodies(take(message_store, seconds=99)) == ["You are out.", "Welcome back."]


def test_a_message_in_delivery_is_not_tried_again_after_a_stop(message_store: MessageStore) -> None:
    number_id = converse(message_store, text("m1"), "one", "two")
    one, two = take(message_store, lease=10)
    converse(message_store, text("m2", words="STOP"), opted_out=True)
    message_store.mark_failed(one.sending_id, why="busy", retry_at=at(5), now=at(4))
    assert take(message_store, seconds=6) == ()
    assert states(message_store, number_id)[0] == ("one", "withheld")
    assert take(message_store, seconds=20) == ()  # the delivery of two died
    assert states(message_store, number_id) == [("one", "withheld"), ("two", "withheld")]
    assert two.body == "two"


def test_an_inline_answer_is_not_repeated_to_a_number_that_opted_out(
    message_store: MessageStore,
) -> None:
    converse(message_store, text("m1"), "one")
    message_store.answer_inline("m1")
    converse(message_store, text("m2", words="STOP"), "You are out.", opted_out=True)
    assert message_store.answer_inline("m2").inline == ("You are out.",)
    assert message_store.accept(text("m1")).inline == ()
    assert message_store.accept(text("m2")).inline == ("You are out.",)


def test_a_sending_is_claimed_by_one_sender_until_its_time_is_up(
    message_store: MessageStore,
) -> None:
    converse(message_store, text("m1"), "one")
    (first,) = take(message_store, "d1", lease=10)
    assert (first.number, first.attempts, first.interrupted) == (ANNA, 0, False)
    assert take(message_store, "d2", seconds=12) == ()
    (second,) = take(message_store, "d2", seconds=13)
    assert (second.sending_id, second.attempts, second.interrupted) == (first.sending_id, 1, True)
    # Whether it was sent is still not known: the next try is told so.
    message_store.mark_failed(second.sending_id, why="busy", retry_at=at(20), now=at(14))
    (third,) = take(message_store, "d2", seconds=20)
    assert (third.attempts, third.interrupted, third.why) == (2, True, "busy")
    message_store.mark_sent(third.sending_id, carrier_id="s1", now=at(21))
    message_store.mark_failed(first.sending_id, why="late", retry_at=at(22), now=at(22))
    assert take(message_store, seconds=99) == ()


def test_messages_to_a_number_stay_in_order(message_store: MessageStore) -> None:
    converse(message_store, text("m1"), "a1", "a2")
    converse(message_store, text("m2", BERT), "b1")
    (first,) = take(message_store, "d1", count=1)
    assert bodies(take(message_store, "d2")) == ["b1"]
    message_store.mark_failed(first.sending_id, why="busy", retry_at=at(30), now=at(4))
    assert take(message_store, "d2", seconds=29) == ()
    assert bodies(take(message_store, "d2", seconds=30)) == ["a1", "a2"]


def test_one_that_waits_in_the_middle_holds_up_those_behind_it(
    message_store: MessageStore,
) -> None:
    converse(message_store, text("m1"), "a1", "a2", "a3")
    for sending, retry in zip(take(message_store), (5, 30, 5), strict=True):
        message_store.mark_failed(sending.sending_id, why="busy", retry_at=at(retry), now=at(4))
    assert bodies(take(message_store, seconds=6)) == ["a1"]
    assert bodies(take(message_store, seconds=30)) == []
    assert bodies(take(message_store, seconds=66)) == ["a1", "a2", "a3"]


def test_numbers_that_wait_hold_up_no_others(message_store: MessageStore) -> None:
    for name, number in (("a", ANNA), ("b", BERT)):
        converse(message_store, text(f"{name}1", number), f"{name}1")
        (one,) = take(message_store)
        message_store.mark_failed(one.sending_id, why="busy", retry_at=at(90), now=at(4))
        converse(message_store, text(f"{name}2", number), f"{name}2")
    converse(message_store, text("c", CARA), "c1")
    assert bodies(take(message_store, count=1)) == ["c1"]


def test_the_last_failure_ends_it_until_it_is_revived(message_store: MessageStore) -> None:
    converse(message_store, text("m1"), "one", "two")
    one, two = take(message_store)
    message_store.mark_failed(one.sending_id, why="no such\x00 line", retry_at=None, now=at(4))
    message_store.mark_sent(two.sending_id, carrier_id="s2", now=at(4))
    (dead,) = message_store.dead()
    assert (dead.body, dead.number, dead.attempts) == ("one", ANNA, 1)
    assert dead.why == "no such  line"
    assert take(message_store, seconds=999) == ()
    with pytest.raises(MisuseError, match="given up"):
        message_store.revive(two.sending_id, now=at(5))
    message_store.revive(dead.sending_id, now=at(5))
    assert message_store.dead() == ()
    (again,) = take(message_store, seconds=5)
    assert (again.sending_id, again.attempts) == (one.sending_id, 0)


def test_delivery_reports_are_kept_and_an_older_stage_says_no_more(
    message_store: MessageStore,
) -> None:
    number_id = converse(message_store, text("m1"), "one")
    (one,) = take(message_store)
    message_store.mark_sent(one.sending_id, carrier_id="s1", now=at(4))
    assert message_store.note_delivery("s1", status="sent", error="", now=at(5))
    assert message_store.note_delivery("s1", status="undelivered", error="30003", now=at(6))
    assert message_store.note_delivery("s1", status="queued", error="", now=at(7))
    assert not message_store.note_delivery("s7", status="sent", error="", now=at(7))
    (line,) = (line for line in message_store.thread(number_id).lines if line.by == "program")
    assert (line.state, line.delivery, line.error) == ("sent", "undelivered", "30003")


def test_a_person_takes_over_and_hands_back(message_store: MessageStore) -> None:
    message_store.accept(text("m1"))
    before = claim(message_store)
    message_store.take_over(before.thread.number_id, person="Jo")
    with pytest.raises(ClaimLostError):  # the program was about to answer
        answer(message_store, before, "I, the program")
    held = claim(message_store)
    assert (held.message.message_id, held.thread.held_by) == ("m1", "Jo")
    answer(message_store, held)
    message_store.say(held.thread.number_id, person="Jo", bodies=["I, Jo"], now=at(4))
    message_store.hand_back(held.thread.number_id)
    converse(message_store, text("m2"), "Me again")
    lines = message_store.thread(held.thread.number_id).lines
    assert [(line.by, line.text, line.person) for line in lines] == [
        ("customer", "12.6", ""),
        ("person", "I, Jo", "Jo"),
        ("customer", "12.6", ""),
        ("program", "Me again", ""),
    ]


def test_the_shop_sees_numbers_masked_and_the_latest_first(message_store: MessageStore) -> None:
    anna = converse(message_store, text("a", ANNA, seconds=0), cases=("c1", "c2"))
    message_store.accept(text("b", BERT, seconds=10))
    message_store.say(anna, person="Jo", bodies=["hi"], now=at(20))
    first, second = message_store.threads()
    assert (first.masked, first.last, first.thread.cases) == ("***42", at(20), ("c1", "c2"))
    assert (second.masked, second.last, second.thread.cases) == ("***43", at(10), ())
    assert [view.masked for view in message_store.threads(count=1)] == ["***42"]
    assert "555" not in repr(message_store.threads()) + repr(message_store.thread(anna))


def test_unknown_conversations_are_said_to_be_unknown(message_store: MessageStore) -> None:
    for call in (
        lambda: message_store.thread("nobody"),
        lambda: message_store.take_over("nobody", person="Jo"),
        lambda: message_store.hand_back("nobody"),
        lambda: message_store.say("nobody", person="Jo", bodies=["x"], now=at(0)),
    ):
        with pytest.raises(MisuseError, match="no conversation"):
            call()


def test_times_of_every_offset_are_compared_as_times(message_store: MessageStore) -> None:
    """ISO 8601 allows 09:00:10Z to be written as 11:00:10+02:00."""
    message_store.accept(text("m1"))
    answer(message_store, claim(message_store), "one", due=10)
    early, late = "2031-03-01T11:00:09.5+02:00", "2031-03-01T07:00:10-02:00"
    assert message_store.take_sendings("d", now=early, until=at(99), count=1) == ()
    assert len(message_store.take_sendings("d", now=late, until=at(99), count=1)) == 1
    with pytest.raises(MisuseError, match="no time"):
        message_store.claim("w", now="soon", until="later")


def test_forgetting_leaves_the_others(message_store: MessageStore) -> None:
    anna = converse(
        message_store,
        text("a1"),
        "reply",
        events=[event("own", 0), event("own", 1), event("both", 0)],
        case_id="own",
        cases=("own", "both"),
    )
    bert = converse(message_store, text("b1", BERT), "to Bert", cases=("both",))
    message_store.accept(text("a2"))
    work = claim(message_store)
    assert message_store.forget(ANNA) == 1
    with pytest.raises(ClaimLostError):
        answer(message_store, work, "too late")
    with pytest.raises(MisuseError):
        message_store.thread(anna)
    with pytest.raises(MisuseError):
        message_store.case_events("own")
    assert len(message_store.case_events("both")) == 1
    assert states(message_store, bert) == [("to Bert", "ready")]
    assert bodies(take(message_store)) == ["to Bert"]
    assert message_store.waiting() == 0
    assert message_store.forget(ANNA) == 0
    assert message_store.accept(text("a1")).fresh


def test_a_sending_of_a_forgotten_number_is_let_go(message_store: MessageStore) -> None:
    converse(message_store, text("a1"), "one")
    (sending,) = take(message_store)
    message_store.forget(ANNA)
    converse(message_store, text("b1", BERT), "other")
    message_store.mark_sent(sending.sending_id, carrier_id="s", now=at(5))
    message_store.mark_failed(sending.sending_id, why="x", retry_at=None, now=at(5))
    assert bodies(take(message_store)) == ["other"]  # an id is never used a second time


def test_numbers_expire_by_when_they_last_wrote(message_store: MessageStore) -> None:
    anna = converse(
        message_store, text("a1", ANNA, seconds=10), events=[event("c", 0)], cases=("c",)
    )
    message_store.say(anna, person="Jo", bodies=["still there?"], now=at(50))
    converse(message_store, text("b1", BERT, seconds=20))
    converse(message_store, text("c1", CARA, seconds=5))
    converse(message_store, text("c2", CARA, seconds=30))
    assert message_store.expire(before=at(20)) == 1
    assert {view.masked for view in message_store.threads()} == {"***43", "***44"}
    with pytest.raises(MisuseError):
        message_store.case_events("c")
    assert message_store.expire(before=at(20)) == 0


def test_an_outcome_may_change_who_holds_the_thread(message_store: MessageStore) -> None:
    number_id = converse(message_store, text("m1"), held_by="Jo")
    assert message_store.thread(number_id).thread.held_by == "Jo"
    message_store.accept(text("m2"))
    work = claim(message_store)
    answer(message_store, replace(work), held_by="")
    assert message_store.thread(number_id).thread.held_by == ""
