"""The routes of the shop's screen: conversations, one of them live, messages that were given up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final

from fastapi import APIRouter, Path, Request, Response
from starlette.responses import RedirectResponse

from assistant.errors import GivenError, MisuseError
from assistant.messaging.numbers import masked
from assistant.messaging.signature import form_schema
from assistant.shopfront.board import dead_letters
from assistant.shopfront.guard import FORM_FIELD, NotAllowedError, posted_form
from assistant.shopfront.live import live
from assistant.shopfront.pages import asset
from assistant.shopfront.screens import Screens, checked_id

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from assistant.messaging.desk import Desk
    from assistant.messaging.signature import Form
    from assistant.shopfront.guard import Guard

__all__ = ["shop_router"]

NumberId = Annotated[str, Path(max_length=80)]
SendingId = Annotated[int, Path(ge=1, le=2**53)]
_REFUSED: Final[dict[int | str, dict[str, Any]]] = {
    code: {"description": "said in a page"} for code in (403, 404, 422)
}


class _Routes:
    """The endpoints; each asks the guard first."""

    def __init__(self, desk: Desk, guard: Guard, shop_name: str) -> None:
        self._desk = desk
        self._guard = guard
        self._screens = Screens(desk, form_key=guard.form_key, shop_name=shop_name)

    async def _guarded(self, request: Request, work: Callable[[], Awaitable[Response]]) -> Response:
        """Do the work for whoever may; say in a page what went wrong."""
        try:
            self._guard.check(request)
            return await work()
        except NotAllowedError as error:
            return self._screens.told(403, error.why, enter=True)
        except MisuseError as error:
            return self._screens.told(404, str(error))
        except GivenError as error:
            return self._screens.told(422, str(error))

    async def _posted(self, request: Request, work: Callable[[Form], Awaitable[str]]) -> Response:
        """Take a form of our own page, then go on to the page that ``work`` names."""

        async def checked() -> Response:
            form = await posted_form(request)
            self._guard.check_form(form)
            return RedirectResponse(await work(form), status_code=303)

        return await self._guarded(request, checked)

    async def style(self) -> Response:
        """Give the style sheet."""
        return Response(asset("shop.css"), media_type="text/css")

    async def icon(self) -> Response:
        """Give the picture of the tab."""
        return Response(asset("icon.svg"), media_type="image/svg+xml")

    async def script(self) -> Response:
        """Give the script that keeps a part of a page up to date."""
        return Response(asset("live.js.j2"), media_type="text/javascript")

    def _let_in(self, request: Request, token: str) -> Response:
        try:
            self._guard.check_place(request)
            return self._guard.enter(token)
        except NotAllowedError as error:
            return self._screens.told(403, error.why, enter=True)

    async def enter(self, request: Request, token: str = "") -> Response:
        """Let in whoever comes by the link with the token."""
        return self._let_in(request, token)

    async def enter_by_form(self, request: Request) -> Response:
        """Let in whoever types the token."""
        try:
            form = await posted_form(request)
        except GivenError as error:
            return self._screens.told(422, str(error), enter=True)
        return self._let_in(request, form.first("token"))

    async def threads(self, request: Request) -> Response:
        """List the conversations, the latest first."""

        async def work() -> Response:
            return self._screens.page("list.html.j2", part=await self._screens.list_part())

        return await self._guarded(request, work)

    async def threads_live(self, request: Request) -> Response:
        """Stream the list."""

        async def work() -> Response:
            return live(
                self._screens.list_part,
                hint=lambda: self._screens.hint(""),
                stopping=self._desk.stopping,
            )

        return await self._guarded(request, work)

    async def thread(self, request: Request, number_id: NumberId) -> Response:
        """Show one conversation."""

        async def work() -> Response:
            view = await self._desk.call(self._desk.store.thread, checked_id(number_id))
            return self._screens.page(
                "thread.html.j2",
                number_id=number_id,
                masked=view.masked,
                held_by=view.thread.held_by,
                opted_out=view.thread.opted_out,
                part=self._screens.filled(view),
            )

        return await self._guarded(request, work)

    async def thread_live(self, request: Request, number_id: NumberId) -> Response:
        """Stream one conversation."""

        async def work() -> Response:
            await self._screens.thread_part(checked_id(number_id))  # an unknown one: told at once
            return live(
                lambda: self._screens.thread_part(number_id),
                hint=lambda: self._screens.hint(number_id) + self._screens.hint(""),
                stopping=self._desk.stopping,
            )

        return await self._guarded(request, work)

    async def act(self, request: Request, number_id: NumberId, action: str) -> Response:
        """Take over (take), write (say), or hand back (back) a conversation."""

        async def work(form: Form) -> str:
            await self._screens.act(checked_id(number_id), form, action)
            return f"/shop/threads/{number_id}"

        return await self._posted(request, work)

    async def dead(self, request: Request) -> Response:
        """List the messages that were given up."""

        async def work() -> Response:
            found = await self._desk.call(self._desk.store.dead)
            mask = {each.number: masked(each.number) for each in found}
            return self._screens.page("dead.html.j2", letters=dead_letters(found, mask))

        return await self._guarded(request, work)

    async def retry(self, request: Request, sending_id: SendingId) -> Response:
        """Try a message again that was given up."""

        async def work(_form: Form) -> str:
            await self._desk.call(self._desk.store.revive, sending_id, now=self._desk.now())
            self._desk.wake_delivery()
            return "/shop/dead"

        return await self._posted(request, work)


def shop_router(desk: Desk, guard: Guard, *, shop_name: str) -> APIRouter:
    """Give the routes of the shop's screen."""
    routes = _Routes(desk, guard, shop_name)
    router = APIRouter(prefix="/shop", tags=["shop"], responses=_REFUSED)
    for path, endpoint in (
        ("", routes.threads),
        ("/style.css", routes.style),
        ("/live.js", routes.script),
        ("/icon.svg", routes.icon),
        ("/enter", routes.enter),
        ("/threads/{number_id}", routes.thread),
        ("/dead", routes.dead),
    ):
        router.add_api_route(path, endpoint, methods=["GET"], response_class=Response)
    for path, stream in (
        ("/live", routes.threads_live),
        ("/threads/{number_id}/live", routes.thread_live),
    ):
        router.add_api_route(path, stream, methods=["GET"], include_in_schema=False)
    key = {FORM_FIELD: "[0-9a-f]{64}"}
    for path, post, fields in (
        ("/enter", routes.enter_by_form, {"token": ".*"}),
        ("/threads/{number_id}/{action}", routes.act, {**key, "person": ".*", "text": ".*"}),
        ("/dead/{sending_id}/retry", routes.retry, key),
    ):
        router.add_api_route(
            path,
            post,
            methods=["POST"],
            response_class=Response,
            openapi_extra=form_schema(fields),
        )
    return router
