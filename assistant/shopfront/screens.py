"""What the shop's pages are filled with, and what their forms do."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

from assistant.errors import GivenError, MisuseError
from assistant.messaging.segments import bodies
from assistant.shopfront.board import row_of, spoken_of
from assistant.shopfront.pages import page, rendered

if TYPE_CHECKING:
    from starlette.responses import Response

    from assistant.messaging.desk import Desk
    from assistant.messaging.records import ThreadView
    from assistant.messaging.signature import Form
    from assistant.shopfront.board import Row

__all__ = ["Screens", "checked_id"]

_NUMBER_ID: Final = re.compile(r"[0-9a-f]{64}")
_LISTED: Final = 100
_LONGEST_NAME: Final = 40
_MOST_BODIES: Final = 5


def checked_id(number_id: str) -> str:
    """Give the id of a number back; raise ``MisuseError`` when it cannot be one."""
    if not _NUMBER_ID.fullmatch(number_id):
        raise MisuseError("There is no such conversation.", next_step="Go back to the list.")
    return number_id


class Screens:
    """Fills pages from the desk; ``form_key`` goes into every form."""

    def __init__(self, desk: Desk, *, form_key: str, shop_name: str) -> None:
        self._desk = desk
        self._form_key = form_key
        self._shop_name = shop_name
        self._looked: set[str] = set()

    def page(self, template: str, *, status: int = 200, **values: Any) -> Response:
        """Fill a page with what every page needs."""
        return page(
            template,
            status=status,
            shop_name=self._shop_name,
            form_key=self._form_key,
            **values,
        )

    def told(self, status: int, error: str, *, enter: bool = False) -> Response:
        """Say what is wrong, and where wanted ask for the token."""
        return page(
            "told.html.j2", status=status, shop_name=self._shop_name, error=error, enter=enter
        )

    async def list_part(self) -> str:
        """Fill the list of conversations."""
        store = self._desk.store
        views = await self._desk.call(store.threads, count=_LISTED)
        dead = await self._desk.call(store.dead)
        return rendered("list.part.j2", rows=[self._row(view) for view in views], dead=len(dead))

    async def thread_part(self, number_id: str) -> str:
        """Fill the part of one conversation that changes."""
        return self.filled(await self._desk.call(self._desk.store.thread, number_id))

    def filled(self, view: ThreadView) -> str:
        """Fill the part of a conversation that changes."""
        return rendered(
            "thread.part.j2", row=self._row(view), lines=[spoken_of(line) for line in view.lines]
        )

    def _row(self, view: ThreadView) -> Row:
        case_id = view.thread.case_id
        summary = None if case_id is None else self._desk.summaries.get(case_id)
        if case_id is not None and summary is None and case_id not in self._looked:
            self._looked.add(case_id)  # once: a case that cannot be summed up stays so
            self._desk.ask_look(case_id)
        return row_of(view, summary)

    def hint(self, number_id: str) -> int:
        """Give a number that changes with what is to be seen of a conversation, "" for all."""
        return self._desk.changes.get(number_id, 0)

    async def act(self, number_id: str, form: Form, action: str) -> None:
        """Do what a form of a conversation asks for; raise ``GivenError`` if it cannot be."""
        store, desk = self._desk.store, self._desk
        person = " ".join(form.first("person").split())[:_LONGEST_NAME]
        if action != "back" and not person:
            raise GivenError("Who are you?", next_step="Write your name, for the others.")
        match action:
            case "take":
                await desk.call(store.take_over, number_id, person=person)
            case "back":
                await desk.call(store.hand_back, number_id)
            case "say":
                said = bodies(form.first("text"))
                if not said:
                    raise GivenError("There is nothing to send.", next_step="Write a message.")
                if len(said) > _MOST_BODIES:
                    raise GivenError("That is too long for texts.", next_step="Shorten it.")
                await desk.call(store.take_over, number_id, person=person)
                await desk.call(store.say, number_id, person=person, bodies=said, now=desk.now())
                desk.wake_delivery()
            case _:
                raise MisuseError("Nothing like that can be done.", next_step="Go back.")
        desk.changed(number_id)
