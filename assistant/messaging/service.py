"""The service as a whole: web side, workers and delivery in one event loop.

The workers are processes of their own, so this process never imports the engine; it takes texts,
answers for the shop's screen and hands messages to the carrier.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import secrets
import socket
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING, Final

import httpx
from fastapi import FastAPI

from assistant import __version__
from assistant.errors import GivenError
from assistant.messaging import clock
from assistant.messaging.delivery import Delivery
from assistant.messaging.desk import Desk
from assistant.messaging.limits import Intake
from assistant.messaging.mishap import place_of
from assistant.messaging.numbers import Numbers
from assistant.messaging.plan import LEASE_SECONDS
from assistant.messaging.practice_phone import PracticeCarrier, PracticePhones
from assistant.messaging.practice_state import forget_state, write_state
from assistant.messaging.queue_outlook import QueueOutlook
from assistant.messaging.quiet import Quiet
from assistant.messaging.roll import WorkerRoll
from assistant.messaging.signature import Seal
from assistant.messaging.supervisor import Supervisor
from assistant.messaging.webhook import REPORT_PATH, Door, webhook_router
from assistant.messaging.work_order import WorkOrder, open_store
from assistant.shopfront.guard import Guard
from assistant.shopfront.practice_page import practice_router
from assistant.shopfront.routes import shop_router

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from assistant.messaging.plan import ServicePlan
    from assistant.messaging.records import Carrier

__all__ = ["Service"]

_LOG: Final = logging.getLogger("probetell.service")
_IDLE: Final = 1.0
"""Seconds between looks at the outbox when nobody says that something is there."""
_COUNTED: Final = 5.0
_A_DAY: Final = 24 * 3600.0


class Service:
    """One run of ``plan`` under ``local_url``, the address on this machine.

    ``stopping`` tells whether the server is going down. Opens the store; raises ``GivenError``
    when it cannot be used.
    """

    def __init__(
        self, plan: ServicePlan, *, local_url: str, stopping: Callable[[], bool] = lambda: False
    ) -> None:
        self.plan = plan
        self.local_url = local_url
        self.secret = secrets.token_urlsafe(24)
        self._stopping = stopping
        self._outbox = asyncio.Event()
        self._roll = WorkerRoll(plan.directory / "serve-workers.json")
        self.store = open_store(plan.database_url, plan.number_key)
        self.seal = Seal(token=plan.token, public_url=plan.public_url or local_url)
        self.desk = Desk(
            store=self.store,
            patience=plan.patience,
            number_id=Numbers(plan.number_key).look_up,
            wake_delivery=self._outbox.set,
            outlook=QueueOutlook(workers=plan.workers),
            stopping=stopping,
        )
        self._practice = PracticeCarrier()
        self.app = self._make_app()

    # --- the web side ------------------------------------------------------------------

    def _make_app(self) -> FastAPI:
        plan = self.plan
        app = FastAPI(
            title="probetell",
            version=__version__,
            docs_url=None,
            redoc_url=None,
            openapi_url=None,
            lifespan=self._life,
        )
        intake = Intake(per_number=plan.per_number, for_all=plan.for_all)
        app.include_router(webhook_router(Door(desk=self.desk, seal=self.seal, intake=intake)))
        guard = Guard(token=plan.shop_token, local_only=not plan.shop_token_is_set)
        app.include_router(shop_router(self.desk, guard, shop_name=plan.shop_name))
        if plan.practice:
            self._client = httpx.AsyncClient(base_url=self.local_url, timeout=60.0)
            self.phones = PracticePhones(
                carrier=self._practice, seal=self.seal, client=self._client
            )
            app.include_router(
                practice_router(self.phones, secret=self.secret, stopping=self._stopping)
            )
        app.add_middleware(Quiet)
        return app

    # --- what runs beside it -----------------------------------------------------------

    @asynccontextmanager
    async def _life(self, _app: FastAPI) -> AsyncIterator[None]:
        supervisor = self._supervisor()
        self.desk.wake_workers = supervisor.wake
        self.desk.ask_look = supervisor.look
        supervisor.start()
        tasks = [
            asyncio.create_task(self._deliver()),
            asyncio.create_task(self._let_old_ones_go()),
            asyncio.create_task(self._count_the_waiting()),
        ]
        if self.plan.practice:
            write_state(self.plan.directory, url=self.local_url, secret=self.secret)
        try:
            yield
        finally:
            if self.plan.practice:
                forget_state(self.plan.directory)
                await self._client.aclose()
            await supervisor.stop()
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            self.desk.close()

    def _supervisor(self) -> Supervisor:
        plan = self.plan
        order = WorkOrder(
            worker=f"{socket.gethostname()[:60]}.{os.getpid()}",
            database_url=plan.database_url,
            number_key_hex=plan.number_key.hex(),
            shop_name=plan.shop_name,
            shop_hours=plan.shop_hours,
            shop_phone=plan.shop_phone,
            worlds=plan.worlds,
            seed=None,
            patience=plan.patience,
            lease=LEASE_SECONDS,
            live_cases=plan.live_cases,
        )
        return Supervisor(
            order,
            count=plan.workers,
            release=lambda name: self.desk.call(self.store.release, name),
            answered=self.desk.answered,
            took=self.desk.outlook.took,
            summed=self.desk.summed,
            roll=self._roll,
        )

    def _carrier(self) -> Carrier:
        account = self.plan.account
        if account is None:
            return self._practice
        from assistant.messaging.carrier_twilio import TwilioCarrier  # noqa: PLC0415 - slow

        return TwilioCarrier(
            account=account.account,
            token=self.plan.token,
            sender=account.sender,
            report_url=self.seal.url(REPORT_PATH),
            api_url=account.api_url,
        )

    async def _deliver(self) -> None:
        """Hand over what is due, again and again; a delivery thread must not be cut off."""
        name = f"{socket.gethostname()[:60]}.{os.getpid()}.delivery.{secrets.token_hex(4)}"
        self._roll.add(name)
        delivery = Delivery(name=name, store=self.store, carrier=self._carrier())
        try:
            while not self._stopping():
                self._outbox.clear()
                try:
                    sent = await asyncio.shield(self.desk.call(delivery.run_once))
                except Exception as error:  # noqa: BLE001 - the database may be away for a while
                    _LOG.error("the outbox cannot be read: %s", place_of(error))
                    sent = 0
                if sent:
                    self.desk.changed("")
                else:
                    with contextlib.suppress(TimeoutError):
                        await asyncio.wait_for(self._outbox.wait(), _IDLE)
        finally:
            delivery.close()
            self._roll.remove(name)

    async def _count_the_waiting(self) -> None:
        """Correct the outlook now and then: another machine may answer too."""
        while True:
            await asyncio.sleep(_COUNTED)
            if len(self.desk.outlook):
                with contextlib.suppress(GivenError):
                    self.desk.outlook.at_most(await self.desk.call(self.store.waiting))

    async def _let_old_ones_go(self) -> None:
        """Once a day, erase numbers that were not heard of for the days of the settings."""
        while True:
            before = clock.shifted(clock.now(), -_A_DAY * self.plan.retention_days)
            try:
                gone = await self.desk.call(self.store.expire, before=before)
            except Exception as error:  # noqa: BLE001 - tomorrow is another day
                _LOG.error("old numbers could not be erased: %s", place_of(error))
            else:
                if gone:
                    _LOG.info("erased %d numbers that were silent too long", gone)
            await asyncio.sleep(_A_DAY)
