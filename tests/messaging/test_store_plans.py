"""No statement of the store walks through a whole table, however many customers there are."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Any

from sqlalchemy import event as sql_event

from assistant.casebook.sql import SqlCasebook
from assistant.messaging.numbers import Numbers
from assistant.messaging.store_sql import SqlMessageStore

sys.path.insert(0, str(Path(__file__).parent))

from store_talk import ANNA, BERT, answer, at, claim, converse, event, take, text

# What SQLite's manual (EXPLAIN QUERY PLAN) calls a visit of every row of a table. The indexes that
# are named here hold only what is still to be done or are left early; anon is a short list.
WHOLE_TABLE = re.compile(r"^SCAN (?!anon_|.*\bUSING (COVERING )?INDEX (inbox|outbox|threads)_)")


def everything(store: SqlMessageStore) -> None:
    """Use every method that is called while the shop is open."""
    number_id = converse(store, text("m1"), "one", events=[event("c", 0)], cases=("c",))
    store.accept(text("m1"))
    store.answer_inline("m1")
    converse(store, text("m2"), "two", "three", events=[event("c", 1, key="m2")], closed=["c"])
    two, three = take(store)
    store.mark_sent(two.sending_id, carrier_id="s", now=at(4))
    store.note_delivery("s", status="delivered", error="", now=at(5))
    store.mark_failed(three.sending_id, why="x", retry_at=None, now=at(5))
    store.dead()
    store.revive(three.sending_id, now=at(6))
    store.take_over(number_id, person="Jo")
    store.say(number_id, person="Jo", bodies=["hi"], now=at(7))
    store.hand_back(number_id)
    store.threads()
    store.thread(number_id)
    store.case_events("c")
    store.casebook.has_case("c")
    store.waiting()
    store.accept(text("b1", BERT))
    claim(store)
    store.release("w")
    work = claim(store)
    answer(store, work, "bye", opted_out=True)
    store.expire(before=at(0))
    store.forget(ANNA)


def test_every_statement_goes_by_an_index(sqlite_url: str) -> None:
    store = SqlMessageStore(SqlCasebook(sqlite_url), Numbers(bytes(32)))
    engine = store.casebook.database.engine
    seen: dict[str, Any] = {}

    def note(_c: Any, _cursor: Any, statement: str, parameters: Any, *_: Any) -> None:
        if statement.split(maxsplit=1)[0] in {"SELECT", "UPDATE", "DELETE", "INSERT"}:
            seen[statement] = parameters

    sql_event.listen(engine, "before_cursor_execute", note)
    everything(store)
    sql_event.remove(engine, "before_cursor_execute", note)
    assert len(seen) > 40
    whole = []
    with store.casebook.database.read() as connection:
        for statement, parameters in seen.items():
            row = parameters[0] if isinstance(parameters, list) else parameters
            plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", row)
            steps = [step.detail for step in plan]
            whole += [(step, statement) for step in steps if WHOLE_TABLE.search(step)]
    assert not whole, "\n\n".join(f"{step}: {statement}" for step, statement in whole)
    store.casebook.dispose()
