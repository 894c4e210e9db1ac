"""Work beside the page: progress, results, stopping, failing, and that a stopped worker leaves nothing behind."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from app_client import Client
from thinstock.app.work import SheetMade, lit
from thinstock.errors import Fault, Refused
from thinstock.work.jobs import DONE, FAILED, OVER, REFUSED, STOPPED, Job, Jobs


def count(arguments: Any, tell: Callable[..., None]) -> int:
    """Counts in steps; told as work of these tests."""
    for number in range(arguments["steps"]):
        time.sleep(arguments.get("pause", 0.0))
        tell((number + 1) / arguments["steps"], f"step {number + 1}", number)
    return int(arguments["steps"])


def refuse(arguments: Any, tell: Callable[..., None]) -> None:
    raise Refused(Fault(field="size", value="9 m", bound="is too large"))


def fail(arguments: Any, tell: Callable[..., None]) -> None:
    raise RuntimeError("inside")


def vanish(arguments: Any, tell: Callable[..., None]) -> None:
    import os

    os._exit(3)


@pytest.fixture(scope="module")
def jobs() -> Iterator[Jobs]:
    made = Jobs()
    yield made
    made.close()


def over(jobs: Jobs, key: str, patience: float = 30.0) -> Job:
    until = time.monotonic() + patience
    seen = -1
    while time.monotonic() < until:
        job = jobs.look(key, seen, 1.0)
        assert job is not None
        if job.state in OVER:
            return job
        seen = job.version
    raise AssertionError("the work did not end")


def test_work_tells_how_far_it_is_and_gives_its_parts_and_result(jobs: Jobs) -> None:
    job = over(jobs, jobs.start("test_app_jobs:count", {"steps": 5}))
    assert (job.state, job.result, job.parts, job.share) == (DONE, 5, [0, 1, 2, 3, 4], 1.0)


def test_a_look_returns_as_soon_as_there_is_news(jobs: Jobs) -> None:
    key = jobs.start("test_app_jobs:count", {"steps": 3, "pause": 0.2})
    first = jobs.look(key, -1, 20.0)
    assert first is not None
    seen, begun = first.version, time.monotonic()
    later = jobs.look(key, seen, 20.0)
    assert later is not None and (later.version > seen or later.state in OVER)
    assert time.monotonic() - begun < 5
    over(jobs, key)


def test_stopped_work_ends_at_once_and_the_next_work_goes_on(jobs: Jobs) -> None:
    key = jobs.start("test_app_jobs:count", {"steps": 1000, "pause": 0.05})
    seen = -1
    for _ in range(3):
        job = jobs.look(key, seen, 20.0)
        assert job is not None
        seen = job.version
    begun = time.monotonic()
    assert jobs.stop(key)
    assert over(jobs, key).state == STOPPED
    assert time.monotonic() - begun < 5
    assert over(jobs, jobs.start("test_app_jobs:count", {"steps": 2})).result == 2


def test_work_that_waits_can_be_stopped_before_it_begins(jobs: Jobs) -> None:
    first = jobs.start("test_app_jobs:count", {"steps": 20, "pause": 0.05})
    second = jobs.start("test_app_jobs:count", {"steps": 2})
    assert jobs.stop(second)
    assert over(jobs, first).state == DONE
    job = jobs.look(second)
    assert job is not None and job.state == STOPPED and job.parts == []


def test_refused_failed_and_vanished_work_is_told_apart(jobs: Jobs) -> None:
    refused = over(jobs, jobs.start("test_app_jobs:refuse", {}))
    assert refused.state == REFUSED and refused.refused is not None and refused.refused.faults[0].field == "size"
    failed = over(jobs, jobs.start("test_app_jobs:fail", {}))
    assert failed.state == FAILED and "inside" in failed.error
    assert over(jobs, jobs.start("test_app_jobs:vanish", {})).state == FAILED
    assert over(jobs, jobs.start("test_app_jobs:count", {"steps": 1})).state == DONE


def test_a_worker_that_ended_while_it_waited_is_replaced_and_the_work_says_so(jobs: Jobs) -> None:
    over(jobs, jobs.start("test_app_jobs:count", {"steps": 1}))
    assert jobs._worker is not None
    first = jobs._worker.process
    first.kill()
    first.join(10)
    key = jobs.start("test_app_jobs:count", {"steps": 2, "pause": 0.3})
    seen = jobs.look(key)
    until = time.monotonic() + 30
    while seen is not None and seen.state == "waiting" and time.monotonic() < until:
        seen = jobs.look(key, seen.version, 1.0)
    assert seen is not None and "another was started" in seen.said
    assert over(jobs, key).state == DONE and jobs._worker.process.pid != first.pid


def test_a_worker_killed_at_work_fails_its_work_and_the_next_gets_another(jobs: Jobs) -> None:
    key = jobs.start("test_app_jobs:count", {"steps": 1000, "pause": 0.05})
    until, seen = time.monotonic() + 30, jobs.look(key)
    while seen is not None and not seen.parts and time.monotonic() < until:
        seen = jobs.look(key, seen.version, 1.0)
    assert jobs._worker is not None
    jobs._worker.process.kill()
    failed = over(jobs, key)
    assert failed.state == FAILED and "ended by itself" in failed.error
    assert over(jobs, jobs.start("test_app_jobs:count", {"steps": 1})).state == DONE


def test_work_for_which_no_process_can_be_had_fails_and_the_next_is_tried_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from thinstock.work import jobs as module

    def none() -> None:
        raise OSError(11, "Resource temporarily unavailable")

    made, worker = Jobs(), module._Worker
    try:
        monkeypatch.setattr(module, "_Worker", none)
        failed = over(made, made.start("test_app_jobs:count", {"steps": 1}))
        assert failed.state == FAILED and "temporarily unavailable" in failed.error
        monkeypatch.setattr(module, "_Worker", worker)
        assert over(made, made.start("test_app_jobs:count", {"steps": 1})).state == DONE
    finally:
        made.close()


def test_only_so_many_finished_jobs_are_remembered(jobs: Jobs) -> None:
    keys = [jobs.start("test_app_jobs:count", {"steps": 1}) for _ in range(20)]
    over(jobs, keys[-1])
    jobs.start("test_app_jobs:count", {"steps": 1})
    assert jobs.look(keys[0]) is None
    assert jobs.look(keys[-1]) is not None


def test_closing_ends_the_worker() -> None:
    made = Jobs()
    key = made.start("test_app_jobs:count", {"steps": 1000, "pause": 0.05})
    made.look(key, 0, 20.0)
    worker = made._worker
    assert worker is not None and worker.process.is_alive()
    made.close()
    worker.process.join(5)
    job = made.look(key)
    assert job is not None and job.state == STOPPED
    with pytest.raises(ValueError):
        assert not worker.process.is_alive()
        worker.process.close()
        worker.process.is_alive()


def test_sheets_are_laid_counted_and_shown(tmp_path: Path) -> None:
    client = Client(tmp_path)
    try:
        query = "machine=facial-roll&c=0.1 %&c=0.6 %&seed=3"
        key = client.post("/sheet/answer", {"query": query, "start": True}).json()["job"]
        assert over(client.state.jobs, key, 180).state == DONE
        for name, mode in (("0", "diffuse"), ("1", "direct"), ("1", "layers"), ("detail", "layers")):
            reply = client.get(f"/sheet/picture/{key}/{name}/{mode}.png")
            assert reply.content.startswith(b"\x89PNG") and reply.headers["content-type"] == "image/png"
        told = client.post("/sheet/answer", {"query": query, "job": key}).json()
        assert told["made"] == [0, 1]
        points, curve = told["charts"]["zones"]["points"], told["charts"]["zones"]["curve"]
        for order in (0, 1):
            at = next(p["cv"] for p in points if p["order"] == order and abs(p["zone"] - 1) < 1e-9)
            near = min((c for c in curve if c["order"] == order), key=lambda c: abs(c["zone"] - 1))
            assert at == pytest.approx(near["cv"], rel=0.25), "counted beside theory"
    finally:
        client.close()


def test_sheets_are_drawn_in_the_light_that_is_on_and_in_another_when_it_is_asked_for(tmp_path: Path) -> None:
    client = Client(tmp_path)
    try:
        query = "machine=facial-roll&c=0.1 %&c=0.6 %&seed=3"
        key = client.post("/sheet/answer", {"query": query, "start": True, "light": "direct"}).json()["job"]
        made = over(client.state.jobs, key, 180)
        assert [set(part.pictures) for part in made.parts if isinstance(part, SheetMade)] == [{"direct"}] * 2
        seen = [client.get(f"/sheet/picture/{key}/{name}/layers.png").content for name in (0, 1, 1)]
        drawn = [job for job in client.state.jobs._jobs.values() if job.work.endswith(":lit")]
        assert len(drawn) == 1 and [part.picture for part in drawn[0].parts] == seen[:2] and seen[1] == seen[2]
        told: list[Any] = []
        lit((made.arguments, "layers"), lambda share, said, part: told.append(part.picture))
        assert told == seen[:2], "laid anew where nobody holds them, the same"
        assert client.get(f"/sheet/picture/{key}/2/layers.png").status_code == 404
        assert client.get(f"/sheet/picture/{key}/0/moon.png").status_code == 404
    finally:
        client.close()
