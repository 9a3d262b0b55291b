"""The logs of a day worked on by any executor, and names that every system takes."""

import shutil
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor

import pytest

from tests.cli.conftest import SAMPLES
from traceanalyze.report.day import LogTask, all_worked, picture_names, unlike
from traceanalyze.session import Asked


@pytest.fixture
def folder(tmp_path):
    """Two logs that can be read and one that cannot."""
    ride = (SAMPLES / "standard_spring_1.nmea").read_bytes().splitlines(keepends=True)
    (tmp_path / "a.nmea").write_bytes(b"".join(ride[:1200]))
    shutil.copy(SAMPLES / "standard_spring_1_second_logger.gpx", tmp_path / "b.gpx")
    (tmp_path / "c.csv").write_text("no numbers\nhere\n" * 20_000)
    return tmp_path


def tasks_of(folder):
    return [LogTask(path=path, asked=Asked()) for path in sorted(folder.iterdir())]


def dicts(by_file):
    return {path: [sheet.to_dict() for sheet in sheets] for path, sheets in by_file.items()}


def test_any_executor_gives_the_same(folder):
    seen = []
    here = all_worked(tasks_of(folder), None, seen.append)
    assert seen == list(here)
    with ThreadPoolExecutor(2) as threads:
        there = all_worked(tasks_of(folder), threads, lambda path: None)
    assert dicts(there) == dicts(here)
    assert list(there) == list(here)  # though the largest was begun first


def test_a_distributed_engine_gives_the_same(folder):
    distributed = pytest.importorskip("distributed")
    here = all_worked(tasks_of(folder), None, lambda path: None)
    seen = []
    with distributed.Client(processes=False, n_workers=1, threads_per_worker=2, dashboard_address=None) as client:
        there = all_worked(tasks_of(folder), client.get_executor(), seen.append)
    assert dicts(there) == dicts(here)
    assert sorted(seen) == sorted(here)


class Killed(Executor):
    """An executor whose process for `b.gpx` is killed."""

    def submit(self, work, task):
        future = Future()
        if task.path.name == "b.gpx":
            future.set_exception(BrokenExecutor("killed"))
        else:
            future.set_result(work(task))
        return future


def test_a_killed_worker_costs_its_own_log_only(folder):
    found = all_worked(tasks_of(folder), Killed(), lambda path: None)
    (sheet,) = found[folder / "b.gpx"]
    assert sheet.refused
    assert "b.gpx: the process that read it was stopped" in sheet.error
    assert len(found[folder / "a.nmea"][0].launches) == 1


class Broken(Executor):
    """An executor that breaks under its first task, and takes no other."""

    def submit(self, work, task):
        raise BrokenExecutor("broken")


def test_an_executor_that_takes_no_task_refuses_each_log(folder):
    found = all_worked(tasks_of(folder), Broken(), lambda path: None)
    assert all("the process that read it was stopped" in sheet.error for (sheet,) in found.values())
    assert len(found) == 3


def test_names_become_harmless_and_unlike():
    assert unlike(["a/b", "a b", "..", "Ünï", "x" * 99, "-", "A-B"]) == [
        "a-b", "a-b-2", "log", "Ünï", "x" * 60, "log-2", "A-B-3",
    ]  # fmt: skip


def test_a_picture_stands_beside_no_other(tmp_path):
    paths = [tmp_path / "a.nmea", tmp_path / "a.gpx", tmp_path / "A.csv"]
    assert [path.name for path in picture_names(paths, tmp_path).values()] == ["a.png", "a-2.png", "A-3.png"]
