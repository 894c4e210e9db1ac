"""Many users at once: every answer arrives, once, and is that of its own question."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from threading import Barrier
from typing import Any
from urllib.parse import urlsplit

import httpx
import pytest

from app_client import Server, free_port

USERS = 10
QUERIES = [f"machine=facial-roll&set=headbox.consistency=0.{16 + step} %" for step in range(10)]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    made = Server(tmp_path, free_port())
    made.warm()
    yield made
    made.stop()


@contextmanager
def visitor(server: Server) -> Iterator[httpx.Client]:
    address = urlsplit(server.address)
    root = f"{address.scheme}://{address.netloc}"
    with httpx.Client(base_url=root, timeout=120.0, follow_redirects=True) as made:
        assert made.get(server.address).status_code == 200
        made.headers["origin"] = root
        yield made


def asked(visitor: httpx.Client, query: str) -> Any:
    reply = visitor.post("/machine/answer", json={"query": query, "part": "quick"})
    assert reply.status_code == 200, reply.text[:300]
    return reply.json()


@pytest.mark.slow
def test_a_hundred_answers_to_ten_users_at_once_are_each_that_of_its_question(server: Server) -> None:
    with visitor(server) as alone:
        expected = {query: asked(alone, query) for query in QUERIES}
    assert len({str(one["pieces"]) for one in expected.values()}) == len(QUERIES), "no two questions have one answer"
    together = Barrier(USERS)

    def user(number: int) -> list[tuple[str, Any]]:
        with visitor(server) as one:
            together.wait(60)
            return [(query, asked(one, query)) for query in QUERIES[number:] + QUERIES[:number]]

    with ThreadPoolExecutor(USERS) as pool:
        found = [pair for pairs in pool.map(user, range(USERS)) for pair in pairs]
    assert len(found) == USERS * len(QUERIES)
    wrong = [query for query, answer in found if answer != expected[query]]
    assert not wrong, f"{len(wrong)} of {len(found)} are not those of their question: {wrong[:3]}"
    assert server.errors == []
