"""Answers from processes of their own: the same as without them, whatever becomes of the processes."""

from __future__ import annotations

import html
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from app_client import Client
from thinstock.app.pages import machine as page
from thinstock.app.server import answering
from thinstock.work.workers import Failed, Lost, Workers

QUERIES = [f"machine=facial-roll&set=headbox.consistency=0.{16 + step} %" for step in range(10)]
SIGHT = ["drawing", "notes"]


@pytest.fixture(scope="module")
def few() -> Iterator[Workers]:
    made = Workers("answers_apart:answer", ("first",), 2)
    made.start()
    assert made.wait(60)
    yield made
    made.close()


def worker(few: Workers, name: str, row: int = 0) -> Any:
    found = few.of(name, row)
    assert found is not None
    return found


def test_a_name_keeps_its_process_and_its_long_questions_go_to_the_neighbour(few: Workers) -> None:
    homes = {name: worker(few, name).number for name in "abcd"}
    assert sorted(homes.values()) == [0, 0, 1, 1]
    for name, home in homes.items():
        assert worker(few, name).number == home != worker(few, name, 1).number
        assert worker(few, name).answer(0, name)[0] == name


def test_a_long_question_does_not_hold_up_a_quick_one_in_the_same_process(few: Workers) -> None:
    one = worker(few, "a")
    with ThreadPoolExecutor(1) as pool:
        long = pool.submit(one.answer, 1, 1.0)
        assert one.answer(0, "quick")[0] == "quick" and not long.done()
        assert long.result()[0] == 1.0


def test_a_function_that_fails_tells_its_trace_and_the_process_goes_on(few: Workers) -> None:
    one = worker(few, "a")
    with pytest.raises(Failed, match="inside"):
        one.answer(0, "fail")
    assert one.answer(0, 5)[1] == one.process.pid


def test_a_process_that_vanishes_is_told_and_another_takes_its_place(few: Workers) -> None:
    gone, other = worker(few, "a"), worker(few, "a", 1)
    with pytest.raises(Lost):
        gone.answer(0, "vanish")
    assert worker(few, "a") is other
    few.start()
    assert few.wait(60) and {worker(few, "a").number, worker(few, "a", 1).number} == {0, 1}


def test_none_are_started_where_there_is_one_core_and_none_after_the_end() -> None:
    one = Workers("answers_apart:answer", ("first",), 1)
    one.start()
    assert not one.wait(5) and one.of("a", 0) is None
    two = Workers("answers_apart:answer", ("first",), 2)
    two.close()
    two.start()
    assert two.of("a", 0) is None


ALONE = """
import sys, time
from thinstock.work.workers import Workers
if __name__ == "__main__":
    sys.path.insert(0, {tests!r})
    made = Workers("answers_apart:answer", ("first",), 2)
    made.start()
    assert made.wait(60)
    print(*(one.process.pid for one in made._held), flush=True)
    made._held[0].answer(0, {pause})
    time.sleep(60)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="processes end otherwise here")
@pytest.mark.parametrize("pause", [0.0, 1.0])
def test_processes_end_with_their_server_however_it_ends(tmp_path: Path, pause: float) -> None:
    script = tmp_path / "server.py"
    script.write_text(ALONE.format(tests=str(Path(__file__).parent), pause=pause), encoding="utf-8")
    server = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    pids = [int(one) for one in server.stdout.readline().split()]
    assert len(pids) == 2
    server.send_signal(signal.SIGKILL)
    server.wait(10)
    until = time.monotonic() + 10
    while any(_lives(pid) for pid in pids) and time.monotonic() < until:
        time.sleep(0.05)
    assert not [pid for pid in pids if _lives(pid)]


def _lives(pid: int) -> bool:
    """Whether there is such a process that has not ended; one that nobody took leave of has."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    stat = Path(f"/proc/{pid}/stat")
    return not stat.exists() or stat.read_text(encoding="ascii").rpartition(")")[2].split()[0] != "Z"


# -- the page's answers ------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    made = Client(Path(tmp_path_factory.mktemp("workspace")))
    yield made
    made.close()


@pytest.fixture(scope="module")
def apart(client: Client) -> Iterator[Workers]:
    made = answering(client.workspace, 2)
    made.start()
    assert made.wait(240)
    yield made
    made.close()


@pytest.fixture
def with_workers(client: Client, apart: Workers) -> Iterator[Client]:
    apart.start()
    assert apart.wait(240)
    client.state.workers = apart
    yield client
    client.state.workers = None


def counted(workers: Workers, monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """The questions that processes answer from now on."""
    asked: list[Any] = []
    for one in (worker(workers, "", 0), worker(workers, "", 0)):
        real = one.answer

        def answer(row: int, question: Any, real: Any = real) -> Any:
            asked.append(question)
            return real(row, question)

        monkeypatch.setattr(one, "answer", answer)
    return asked


@pytest.mark.slow
def test_answers_from_processes_are_those_of_the_server_itself(
    client: Client, apart: Workers, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = [(query, part) for query in QUERIES[:3] for part in ("quick", "limits")]
    asked += [("machine=no such machine", "quick"), ("machine=facial-roll&set=headbox.consistency=9 %", "quick")]
    alone = [client.answer(*one) for one in asked]
    client.state.workers = apart
    try:
        by_them = counted(apart, monkeypatch)
        other = [client.answer(*one) for one in asked]
        assert client.answer(QUERIES[0], "quick", shown=[]).status_code == 400
        assert len(by_them) == len(asked) + 1
    finally:
        client.state.workers = None
    assert [one.status_code for one in alone] == [200] * 6 + [422] * 2
    assert [(one.status_code, one.json()) for one in alone] == [(one.status_code, one.json()) for one in other]
    assert client.reported == []


@pytest.mark.slow
def test_six_tabs_at_once_each_get_their_own_and_a_killed_process_loses_nothing(with_workers: Client) -> None:
    queries = QUERIES[:5]
    expected = {query: with_workers.answer(query, "quick", sight=SIGHT).json() for query in queries}
    killed = worker(with_workers.state.workers, "tab 0")

    def user(number: int) -> list[tuple[str, Any]]:
        found = []
        for turn, query in enumerate(queries[number:] + queries[:number]):
            if number == 0 and turn == 2:
                killed.process.kill()
            reply = with_workers.answer(query, "quick", sight=SIGHT, tab=f"tab {number}", turn=turn)
            assert reply.status_code == 200
            found.append((query, reply.json()))
        return found

    with ThreadPoolExecutor(6) as pool:
        found = [one for many in pool.map(user, range(6)) for one in many]
    assert len(found) == 30 and all(answer == expected[query] for query, answer in found)


@pytest.mark.slow
def test_a_step_from_a_process_is_as_small_as_one_from_the_server_itself(with_workers: Client) -> None:
    page = with_workers.get("/machine?machine=facial-roll").text
    (marks,), (structure,) = (re.findall(f'data-{name}="([^"]*)"', page) for name in ("marks", "structure"))
    shown: dict[str, str] = json.loads(html.unescape(marks))
    for turn, query in enumerate(QUERIES[:4]):
        told = with_workers.answer(
            query, "quick", shown=shown, sight=SIGHT, structure=structure, tab="steps", turn=turn
        )
        one = told.json()
        assert len(told.content) <= 35_000 and "form" not in one
        assert one["moved"]["changes"] and "drawing" not in one["pieces"], "also of the first, shown by the server"
        shown |= one["marks"]


@pytest.mark.parametrize("apart_too", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_of_ten_questions_of_a_tab_that_wait_only_the_last_is_worked_out(
    client: Client, apart_too: bool, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    workers = None
    if apart_too:
        workers = request.getfixturevalue("with_workers").state.workers
        at = worker(workers, "waiting").number
        by_them = counted(workers, monkeypatch)
    else:
        at, by_them, real = -1, [], page._answer
        monkeypatch.setattr(page, "_answer", lambda space, body: by_them.append(body) or real(space, body))
    with ThreadPoolExecutor(10) as pool:
        with page._TURNS.row(("", 0), quick=True, at=at):
            waiting = [
                pool.submit(client.answer, query, "quick", tab="waiting", turn=turn)
                for turn, query in enumerate(QUERIES)
            ]
            until = time.monotonic() + 30
            while page._TURNS._last.get("waiting") != 9 and time.monotonic() < until:
                time.sleep(0.01)
            time.sleep(0.2)  # the others have been asked as well
        replies = [one.result() for one in waiting]
    assert [one.status_code for one in replies] == [409] * 9 + [200]
    assert len(by_them) == 1
    page._TURNS._last.pop("waiting")
