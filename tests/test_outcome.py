"""What a command's end says: exit codes that mean one thing, whatever fails, and whoever stops reading."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from children import run_command
from cuelane.cli import outcome

MAIN = "from cuelane.cli import main; main()"
# A file that is not cuelane's: refused with 2 and a message, by the command that imports least.
REFUSED = "new circuit --out program.py"
FAILING = """
import cuelane.plan.schema
def fail():
    {raising}
cuelane.plan.schema.plan_schema = fail
"""
FULL = pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is full")
POSIX = pytest.mark.skipif(os.name == "nt", reason="file descriptors are closed by a POSIX shell here")

KINDS = [
    ("raise KeyError('a key')", "an unexpected error", "KeyError"),
    ("raise ValueError('first\\nsecond')", "an unexpected error", "ValueError: first"),
    ("raise AssertionError", "an unexpected error", "AssertionError"),
    ("raise MemoryError", "not enough memory", "MemoryError"),
    ("fail()", "nested deeper", "RecursionError"),
    ("import no_such_library", "cannot be loaded", "ModuleNotFoundError"),
    ("raise ExceptionGroup('several', [ValueError('one')])", "an unexpected error", "ExceptionGroup"),
    ("raise ValueError('\\x1b[2J' + 'x' * 10_000)", "an unexpected error", "\\x1b[2Jxxx"),
]


@pytest.fixture
def home(tmp_path: Path) -> dict[str, str]:
    """Return an environment whose folder for logs lies in `tmp_path`, on every system that names it so."""
    return os.environ | {"XDG_STATE_HOME": str(tmp_path / "state"), "HOME": str(tmp_path)}


def child(code: str, *arguments: str, **options: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", code, *arguments]
    options = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | options
    return subprocess.run(command, text=True, timeout=300, check=False, **options)  # type: ignore[call-overload, no-any-return]


def shell(line: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run `line` with `$CUELANE` as the program, in a POSIX shell."""
    script = cwd / "program.py"
    script.write_text(MAIN, encoding="utf-8")
    cuelane = f'"{sys.executable}" "{script}"'
    return subprocess.run(
        ["bash", "-c", line.replace("CUELANE", cuelane)],
        capture_output=True, text=True, cwd=cwd, timeout=300, check=False,
    )  # fmt: skip


@pytest.mark.parametrize(("raising", "plain", "named"), KINDS, ids=[named for _, _, named in KINDS])
def test_an_error_nobody_foresaw_is_3_with_one_line_and_a_log(
    raising: str, plain: str, named: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    """Never 0, 1 or 2, which say something of the work; the trace is in the log that the line names."""
    monkeypatch.setattr(outcome, "log_path", lambda: tmp_path / "new" / "errors.log")
    names: dict[str, Callable[[], int]] = {}
    exec(f"def fail():\n    {raising}", names)
    assert outcome.exit_code_of(names["fail"]) == 3
    said = capsys.readouterr().err
    assert len(said.splitlines()) == 1
    assert plain in said
    assert named in said
    assert "\x1b" not in said
    assert said.strip().endswith(str(tmp_path / "new" / "errors.log"))
    assert "Traceback" in (tmp_path / "new" / "errors.log").read_text(encoding="utf-8")


def test_a_command_ends_with_3_where_nobody_foresaw_the_error(home: dict[str, str], tmp_path: Path) -> None:
    """The program as a person runs it: exit code 3, one line, and the log where it says."""
    done = child(FAILING.format(raising="raise KeyError('a key')") + MAIN, "schema", env=home)
    assert done.returncode == 3
    assert len(done.stderr.splitlines()) == 1
    log = Path(done.stderr.strip().rpartition("The log says where: ")[2])
    assert "Traceback" in log.read_text(encoding="utf-8")
    if sys.platform.startswith("linux"):
        # The folder of the XDG Base Directory Specification 0.8 for logs and history.
        assert log.is_relative_to(tmp_path / "state")


def test_verbose_shows_the_trace_of_an_unforeseen_error(home: dict[str, str]) -> None:
    """With -v the trace stands on standard error as well."""
    done = child(FAILING.format(raising="raise KeyError('a key')") + MAIN, "-v", "schema", env=home)
    assert done.returncode == 3
    assert "Traceback" in done.stderr


@POSIX
@pytest.mark.parametrize("kind", ["file", "fifo", "link"])
def test_a_log_that_cannot_be_written_hides_nothing(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file where the folder should be, or a pipe or link for a log: the message comes, at once, with 3."""
    place = tmp_path / "place"
    monkeypatch.setattr(outcome, "log_path", lambda: place / "errors.log")
    if kind == "file":
        place.write_text("", encoding="utf-8")
    else:
        place.mkdir()
        if kind == "fifo":
            os.mkfifo(place / "errors.log")
        else:
            (place / "errors.log").symlink_to(tmp_path / "elsewhere")
    assert outcome.exit_code_of(_fail) == 3
    said = capsys.readouterr().err
    assert "KeyError: 'a key'" in said
    assert "No log could be written" in said
    assert not (tmp_path / "elsewhere").exists()


def _fail() -> int:
    raise KeyError("a key")


def test_a_log_that_has_grown_large_begins_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Many failures do not fill a disk."""
    log = tmp_path / "errors.log"
    monkeypatch.setattr(outcome, "log_path", lambda: log)
    log.write_bytes(b"x" * 2_000_000)
    assert outcome.exit_code_of(_fail) == 3
    assert 0 < log.stat().st_size < 100_000


def test_ctrl_c_is_130_and_silent() -> None:
    """128 and SIGINT's number, with no word and no trace."""
    done = child(FAILING.format(raising="raise KeyboardInterrupt") + MAIN, "schema")
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "")


def test_a_pipe_broken_within_is_a_failed_machine() -> None:
    """An encoder that died breaks a pipe too: that is no reader who left."""
    done = child(FAILING.format(raising="raise BrokenPipeError(32, 'Broken pipe')") + MAIN, "schema")
    assert done.returncode == 3
    assert "ended before its work was done" in done.stderr


TALKATIVE = """
import cuelane.plan.schema
from cuelane.base.errors import ScheduleError
from cuelane.cli import output
def wanting():
    for _ in range(20_000):
        output.out("line")
    raise ScheduleError("found wanting")
cuelane.plan.schema.plan_schema = wanting
"""


@POSIX
def test_a_reader_that_leaves_changes_no_exit_code(tmp_path: Path) -> None:
    """`| head -1`: 0 stays 0, and what was found wanting stays 1."""
    assert shell("CUELANE schema | head -1; echo ${PIPESTATUS[0]}", tmp_path).stdout.split() == ["{", "0"]
    (tmp_path / "wanting.py").write_text(TALKATIVE + MAIN, encoding="utf-8")
    done = shell(f"'{sys.executable}' wanting.py schema | head -1; echo ${{PIPESTATUS[0]}}", tmp_path)
    assert done.stdout.split() == ["line", "1"]
    assert done.stderr.strip() == "cuelane: found wanting"


@POSIX
@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("schema >&-", 0),
        (f"{REFUSED} 2>&-", 2),
        (f"{REFUSED} <&- >&- 2>&-", 2),
    ],
)
def test_closed_streams_change_no_exit_code(line: str, code: int, tmp_path: Path) -> None:
    """A stream closed on purpose is a stream that nobody reads."""
    done = shell(f"CUELANE {line}", tmp_path)
    assert done.returncode == code, done.stderr
    assert "Traceback" not in done.stderr + done.stdout


@FULL
@pytest.mark.parametrize(
    ("line", "unbuffered", "code"),
    [
        ("schema > /dev/full", "", 3),
        ("--help > /dev/full", "1", 3),
        (f"-vv {REFUSED} 2> /dev/full", "", 2),
        (f"{REFUSED} 2> /dev/full", "1", 2),
    ],
)
def test_full_streams(line: str, unbuffered: str, code: int, tmp_path: Path) -> None:
    """A full standard output is a failed machine, and is told; a full standard error changes nothing."""
    done = shell(f"export PYTHONUNBUFFERED={unbuffered}; CUELANE {line}", tmp_path)
    assert done.returncode == code
    assert "Traceback" not in done.stderr
    if "2>" not in line:
        assert "standard output: " in done.stderr
        assert len(done.stderr.splitlines()) == 1


def test_what_commands_a_terminal_never_reaches_it(tmp_path: Path) -> None:
    """Names of files and commands in messages, and the words of a voice, show signs by number."""
    done = run_command("schedule", "a\x1b[2J\u202eb.yaml", cwd=tmp_path)
    assert done.returncode == 2
    assert "a\\x1b[2J\\u202eb.yaml" in done.stderr
    assert "\x1b" not in done.stderr
    done = run_command("no\x1b[2Jcommand")
    assert done.returncode == 2
    assert "\x1b" not in done.stderr
    (tmp_path / "voices").mkdir()
    (tmp_path / "voices" / "mine.toml").write_text(
        'engine = "system"\ncredit = "A\\u001b[2J\\nnatural  a forged line"\n', encoding="utf-8"
    )
    done = run_command("voices", "--folder", tmp_path)
    assert done.returncode == 0, done.stderr
    assert "mine" in done.stdout
    assert "\x1b" not in done.stdout
    assert "\nnatural  a forged line" not in done.stdout
