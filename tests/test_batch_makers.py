"""The processes that make tracks: one makes several, one that dies is not asked again, none is left over."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from types import SimpleNamespace

import psutil
import pytest

from cuelane.batch import makers
from cuelane.batch.makers import Maker, a_maker, end_idle

# Answers with its own number as a process; "die" ends it.
PROGRAM = """
import os, sys
from cuelane.batch.makers import requests
for line in requests():
    if line == b"die":
        sys.stderr.write("so be it\\n")
        sys.stderr.flush()
        os._exit(7)
    print(os.getpid(), flush=True)
"""


@pytest.fixture(autouse=True)
def none_left() -> Iterator[None]:
    end_idle()
    yield
    end_idle()
    assert not makers._idle


def asked(request: bytes = b"who\n") -> int:
    with a_maker(PROGRAM) as maker:
        return int(maker.answer(request) or 0)


def test_one_process_makes_one_track_after_another_until_it_has_made_its_share(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Not for ever: what a library loses of memory with each track would add up."""
    monkeypatch.setattr(makers, "_MOST_TRACKS", 3)
    found = [asked() for _ in range(4)]
    assert found[0] == found[1] == found[2] != found[3]
    assert not psutil.pid_exists(found[0])


def test_two_at_once_are_two_processes() -> None:
    with a_maker(PROGRAM) as one, a_maker(PROGRAM) as other:
        pids = {int(one.answer(b"a\n")), int(other.answer(b"b\n"))}
    assert len(pids) == 2
    assert asked() in pids


def test_one_that_dies_says_how_and_the_next_track_has_another() -> None:
    first = asked()
    with a_maker(PROGRAM) as maker:
        assert maker.answer(b"die\n") == b""
        assert maker.death() == "ended with 7; run the batch again. so be it"
    assert asked() not in (first, 0)


def test_one_that_was_killed_while_it_waited_is_not_asked() -> None:
    first = asked()
    psutil.Process(first).kill()
    (idle,) = makers._idle
    idle._process.wait()
    assert asked() not in (first, 0)


def test_one_that_runs_another_program_is_not_asked() -> None:
    first = asked()
    with a_maker(PROGRAM + "\n") as other:
        assert int(other.answer(b"who\n")) != first


def test_one_that_has_died_is_told_by_what_it_said_whichever_error_its_pipe_gives(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Windows calls writing to it an invalid argument."""
    with a_maker(PROGRAM) as maker:
        assert not maker.answer(b"die\n")
        with monkeypatch.context() as patched:
            patched.setattr(maker._process, "stdin", SimpleNamespace(write=_invalid, flush=_invalid))
            assert not maker.answer(b"who\n")
        assert maker.death() == "ended with 7; run the batch again. so be it"


def _invalid(*_: bytes) -> None:
    raise OSError(errno.EINVAL, "Invalid argument")


def test_an_error_while_it_works_ends_it() -> None:
    """It would go on with a track for which nobody waits."""
    seen: list[Maker] = []

    def interrupted() -> None:
        with a_maker(PROGRAM) as maker:
            seen.append(maker)
            maker.answer(b"who\n")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert not seen[0].is_fresh()
    assert seen[0]._process.returncode is not None
    assert not makers._idle
