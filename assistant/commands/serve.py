"""``probetell serve``: the text-message service, for customers or for practice."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
from typing import TYPE_CHECKING

from assistant.commands.workplace import needs_messages
from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.messaging.plan import ServicePlan
    from assistant.settings import Settings

__all__ = ["run_serve"]


def _listen(host: str, port: int) -> socket.socket:
    """Take the port; raise ``GivenError`` when it cannot be had."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    taken = socket.socket(family, socket.SOCK_STREAM)
    taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        taken.bind((host, port))
        taken.listen(256)
    except OSError as error:
        taken.close()
        raise GivenError(
            f"The address {host}, port {port}, cannot be used: {error.strerror}.",
            next_step="End the other program that uses it, or give another --port.",
        ) from error
    return taken


def _tell(plan: ServicePlan, url: str) -> None:
    print(f"Service: {url}")
    if plan.shop_token_is_set:  # a secret of the settings stays there
        print(f"Shop's screen: {url}/shop")
    else:
        print(f"Shop's screen: {url}/shop/enter?token={plan.shop_token}")
    if plan.practice:
        print(f"A customer's telephone: {url}/practice")
        print('Or: probetell text --as +12125550142 "my amp cuts out when it gets loud"')
        print("Practice: no account, nothing leaves this machine.")
    else:
        print(f"Webhook for the message provider: {plan.public_url}/sms")
        print("Give it as the fallback address too: then no answer that broke off is lost.")
    print("Stop with Ctrl-C.", flush=True)


def run_serve(
    settings: Settings,
    *,
    practice: bool,
    host: str | None,
    port: int | None,
    workers: int | None,
) -> int:
    """Serve until a signal ends it; give the exit code."""
    with needs_messages():
        import uvicorn

        from assistant.messaging.plan import plan_service
        from assistant.messaging.quiet_log import set_up_log
        from assistant.messaging.service import Service
    set_up_log()
    plan = plan_service(settings, practice=practice, host=host, port=port, workers=workers)
    taken = _listen(plan.host, plan.port)
    name = f"[{plan.host}]" if ":" in plan.host else plan.host
    url = f"http://{name}:{taken.getsockname()[1]}"

    class Server(uvicorn.Server):
        """Ends on a signal without passing it on: a stop that was asked for is no failure."""

        @contextlib.contextmanager
        def capture_signals(self) -> Iterator[None]:
            before = {
                number: signal.signal(number, self.handle_exit)
                for number in (signal.SIGINT, signal.SIGTERM)
            }
            try:
                yield
            finally:
                for number, handler in before.items():
                    signal.signal(number, handler)

    async def serve() -> int:
        server: Server
        service = Service(plan, local_url=url, stopping=lambda: server.should_exit)
        config = uvicorn.Config(
            service.app,
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=False,
            lifespan="on",
            timeout_graceful_shutdown=5,
        )
        server = Server(config)
        _tell(plan, url)
        await server.serve(sockets=[taken])
        return 0 if server.started else 1

    return asyncio.run(serve())
