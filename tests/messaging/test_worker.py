"""The worker and its live dialogues: lost claims, poison, and the same answer after a rebuild."""

from __future__ import annotations

import logging
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from text_kit import NUMBER, SHOP, make_worker, memory_store, new_id

from assistant.casebook.records import StoredEvent
from assistant.commands.workplace import open_diagnosis
from assistant.conversation.dialogue import Dialogue, replay
from assistant.conversation.events import Opened, Store, Typed
from assistant.knowledge.schema import Complaint, Installation
from assistant.messaging.dialogue_cache import DialogueCache
from assistant.messaging.records import CaseEvent, IncomingText, Outcome
from assistant.messaging.summary import summary_from_json, summary_of, summary_to_json
from assistant.messaging.worker_process import let_rest

if TYPE_CHECKING:
    from assistant.messaging.records import Dialogues, Thread
    from assistant.messaging.store_memory import MemoryMessageStore

NOW = "2031-03-01T09:00:00.000+00:00"
SMALL = Opened(
    installation=Installation.model_validate({"amplifier": {"channels": 2}}),
    complaint=Complaint(symptom="will_not_turn_on"),
    channel="text",
    worlds=200,
)


def incoming(text: str, number: str = NUMBER) -> IncomingText:
    return IncomingText(message_id=new_id(), number=number, text=text, received=NOW)


def talk_on(
    thread: Thread, message: IncomingText, *, dialogues: Dialogues, new_case_id: str, **_: Any
) -> Outcome:
    """A small exchange: the first text opens a case, each further one goes to its dialogue."""
    if thread.case_id is None:
        dialogue, count, case_id = dialogues.fresh(), 0, new_case_id
        given: Any = SMALL
    else:
        case_id = thread.case_id
        dialogue, count = dialogues.stored(case_id)
        given = Typed(text=message.text)
    actions = dialogue.handle(given)
    assert isinstance(actions[0], Store)
    entry = StoredEvent(sequence=count, at=NOW, event=given, key=message.message_id)
    said = [action.say for action in actions if getattr(action, "say", "")]
    return Outcome(
        thread=replace(thread, case_id=case_id, cases=(case_id,)),
        events=(CaseEvent(case_id=case_id, entry=entry),),
        replies=(said[-1][:160],) if said else (),
    )


def cache_of(store: MemoryMessageStore, limit: int = 4, *, resting: bool = True) -> DialogueCache:
    rest = {"rest": let_rest} if resting else {}
    return DialogueCache(case_events=store.case_events, opener=open_diagnosis, limit=limit, **rest)


def case_of(store: MemoryMessageStore) -> str:
    case_id = store.threads()[0].thread.case_id
    assert case_id is not None
    return case_id


def shown(dialogue: Dialogue) -> tuple[Any, Any, Any]:
    return dialogue.scene, dialogue.present(), dialogue.diagnosis.belief()


def test_messages_are_answered_in_order_and_none_is_left() -> None:
    store = memory_store()
    worker = make_worker(store)
    for text in ("one", "two"):
        store.accept(incoming(text))
    done = [worker.step(), worker.step(), worker.step()]
    assert done[2] is None
    assert [each.kept for each in done[:2]] == [True, True]
    lines = store.thread(store.threads()[0].thread.number_id).lines
    assert [line.text for line in lines if line.by == "program"] == [
        "You said: one",
        "You said: two",
    ]


def test_a_case_goes_on_in_its_live_dialogue_and_is_summed_up() -> None:
    store = memory_store()
    cache = cache_of(store)
    worker = make_worker(store, answer=talk_on, cache=cache)
    for text in ("hello", "12.6", "12.6"):
        store.accept(incoming(text))
        done = worker.step()
        assert done.kept
        assert done.summary.case_id == case_of(store)
        assert summary_from_json(summary_to_json(done.summary)) == done.summary
    assert len(cache) == 1
    case_id = case_of(store)
    again = Dialogue(open_diagnosis)
    replay(again, [entry.event for entry in store.case_events(case_id)])
    live = cache.live(case_id)
    assert live is not None
    assert shown(live) == shown(again)
    assert summary_of(case_id, again) == done.summary


@pytest.mark.parametrize("limit", [1, 2])
def test_an_idle_dialogue_is_dropped_and_comes_back_the_same(limit: int) -> None:
    numbers = [NUMBER, "+13035550117", "+14155550163"]
    texts = ["hello", "12.6", "status", "why", "8.1"]
    said: dict[int, list[str]] = {}
    for keep in (limit, 99):
        store = memory_store()
        cache = cache_of(store, keep, resting=keep == limit)
        worker = make_worker(store, answer=talk_on, cache=cache)
        for text in texts:  # the numbers in turn, so that each finds its dialogue dropped
            for number in numbers:
                store.accept(incoming(text, number))
                worker.step()
                assert len(cache) <= keep
        views = [store.thread(view.thread.number_id) for view in store.threads()]
        said[keep] = sorted(line.text for view in views for line in view.lines)
    assert said[limit] == said[99]


def test_what_another_worker_added_is_taken_up() -> None:
    store = memory_store()
    mine, other = cache_of(store), cache_of(store)
    for turn, cache in enumerate((mine, other, mine, other, mine)):
        store.accept(incoming("hello" if turn == 0 else "12.6"))
        done = make_worker(store, name=f"w{turn}", answer=talk_on, cache=cache).step()
        assert done.kept
    case_id = case_of(store)
    again = Dialogue(open_diagnosis)
    replay(again, [entry.event for entry in store.case_events(case_id)])
    assert shown(mine.stored(case_id)[0]) == shown(again)


def test_a_lost_claim_drops_the_dialogue_and_keeps_nothing() -> None:
    store = memory_store()
    cache = cache_of(store)
    store.accept(incoming("hello"))
    make_worker(store, answer=talk_on, cache=cache).step()
    case_id = case_of(store)

    def robbed(*arguments: Any, **named: Any) -> Outcome:
        outcome = talk_on(*arguments, **named)
        store.release("w1")  # as if the claim had run out
        return outcome

    store.accept(incoming("12.6"))
    done = make_worker(store, answer=robbed, cache=cache).step()
    assert not done.kept
    assert cache.live(case_id) is None
    assert len(store.case_events(case_id)) == 1
    done = make_worker(store, name="w2", answer=talk_on, cache=cache).step()
    assert done.kept
    assert len(store.case_events(case_id)) == 2


def fails(*_: Any, **__: Any) -> Outcome:
    raise ZeroDivisionError("+12125550142 said: secret words")


def test_a_text_that_brings_the_engine_down_gets_an_apology(
    caplog: pytest.LogCaptureFixture,
) -> None:
    store = memory_store()
    worker = make_worker(store, answer=fails)
    store.accept(incoming("secret words"))
    with caplog.at_level(logging.DEBUG):
        assert worker.step().kept
    assert worker.step() is None
    (came, went) = store.thread(store.threads()[0].thread.number_id).lines
    assert came.by == "customer"
    assert SHOP.phone in went.text
    assert "ZeroDivisionError" in caplog.text
    assert "secret" not in caplog.text
    assert "5550142" not in caplog.text


def test_an_answer_that_cannot_be_kept_gets_an_apology() -> None:
    store = memory_store()

    def impossible(thread: Thread, *_: Any, **__: Any) -> Outcome:
        return Outcome(thread=replace(thread, number_id="another"))

    worker = make_worker(store, answer=impossible)
    store.accept(incoming("x"))
    assert worker.step().kept
    assert "Sorry" in store.thread(store.threads()[0].thread.number_id).lines[-1].text


@pytest.mark.parametrize("held", [True, False])
def test_no_apology_to_whom_nothing_may_be_said(held: bool) -> None:
    store = memory_store()
    store.accept(incoming("x"))
    make_worker(store, answer=lambda thread, *_, **__: Outcome(thread=thread)).step()
    number_id = store.threads()[0].thread.number_id
    if held:
        store.take_over(number_id, person="Ada")
    else:
        store.accept(incoming("STOP"))
        make_worker(
            store, answer=lambda thread, *_, **__: Outcome(thread=replace(thread, opted_out=True))
        ).step()
    store.accept(incoming("x"))
    assert make_worker(store, answer=fails).step().kept
    assert all(line.by == "customer" for line in store.thread(number_id).lines)


def test_poison_is_answered_without_the_engine() -> None:
    store = memory_store()
    message = incoming("x")
    store.accept(message)
    worker = make_worker(store, answer=fails, poison={message.message_id})
    assert worker.step().kept
    assert store.waiting() == 0


def test_a_glance_makes_no_live_dialogue_go() -> None:
    store = memory_store()
    cache = cache_of(store, 1)
    worker = make_worker(store, answer=talk_on, cache=cache)
    found = {}
    for number in (NUMBER, "+13035550117"):
        store.accept(incoming("hello", number))
        found[number] = worker.step().summary
    assert len(cache) == 1
    for summary in found.values():
        live = cache.live(summary.case_id)
        assert worker.look(summary.case_id) == summary
        assert cache.live(summary.case_id) is live


def test_a_case_that_cannot_be_read_is_not_summed_up() -> None:
    assert make_worker(memory_store()).look("no such case") is None


def test_replies_are_due_when_the_webhook_has_given_up() -> None:
    store = memory_store()
    store.accept(incoming("x"))
    make_worker(store, patience=4.0, now=lambda: "2031-03-01T09:00:01.000+00:00").step()
    for second, count in ((1, 0), (4, 0), (5, 1)):
        now = f"2031-03-01T09:00:0{second}.000+00:00"
        assert len(store.take_sendings("d", now=now, until=now, count=5)) == count


@settings(max_examples=8, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 2), st.sampled_from(["lost", "kept", "fails"])), max_size=8)
)
def test_no_order_of_losses_parts_a_dialogue_from_its_events(turns: list[tuple[int, str]]) -> None:
    """Whatever is lost or fails, the live dialogue is what its stored events make it."""
    numbers = [NUMBER, "+13035550117", "+14155550163"]
    store = memory_store()
    cache = cache_of(store, 2)
    for index, fate in turns:

        def answer(*arguments: Any, fate: str = fate, **named: Any) -> Outcome:
            outcome = talk_on(*arguments, **named)
            if fate == "lost":
                store.release("w1")
            elif fate == "fails":
                raise RuntimeError
            return outcome

        store.accept(incoming("12.6", numbers[index]))
        make_worker(store, answer=answer, cache=cache).step()
    for view in store.threads():
        case_id = view.thread.case_id
        if case_id is None or cache.live(case_id) is None:
            continue
        again = Dialogue(open_diagnosis)
        replay(again, [entry.event for entry in store.case_events(case_id)])
        assert shown(cache.stored(case_id)[0]) == shown(again)
