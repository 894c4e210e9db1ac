"""How long the page's server waits for a request: half a request that stays half does not keep its connection."""

from __future__ import annotations

import asyncio

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

SECONDS = 10.0
"""Time for a whole request, and for a new connection to begin one, s."""


class Patient(H11Protocol):
    """A connection of the page: closed where a request is not whole in time."""

    _bound: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """The time begins with the connection."""
        super().connection_made(transport)
        self._begin()

    def connection_lost(self, exc: Exception | None) -> None:
        """Nothing is left to wait for."""
        self._end()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """More of a request: the time runs until it is whole. Between two requests the library's own counts."""
        super().data_received(data)
        if self.conn.their_state not in (h11.IDLE, h11.SEND_BODY):
            self._end()
        elif self._bound is None and (self.conn.their_state is h11.SEND_BODY or self.conn.trailing_data[0]):
            self._begin()

    def _begin(self) -> None:
        self._end()
        self._bound = self.loop.call_later(SECONDS, self._late)

    def _end(self) -> None:
        if self._bound is not None:
            self._bound.cancel()
            self._bound = None

    def _late(self) -> None:
        self._bound = None
        if not self.transport.is_closing():
            self.transport.abort()
