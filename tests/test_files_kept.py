"""No command writes onto what it reads, or over a file that cuelane did not write: a table of commands."""

from __future__ import annotations

import os
import shlex
from pathlib import Path

import numpy as np
import pytest
import soundfile

from cuelane.audio.store import ClipStore
from cuelane.base.errors import DeliveryError, UsageError
from cuelane.base.files import all_or_nothing
from cuelane.base.schedule import Event, Schedule, ScheduledInterval, to_json
from cuelane.base.seals import BLANK_SEAL, is_sealed, sealable_html, sealable_json, sealed
from cuelane.cli.app import run
from cuelane.render.run import RenderOptions, render

PLAN = """\
title: Two
cautions: none
lead_in: 3s
closing: false
session:
  - {include: more.yaml}
  - {pattern: script, block: A, intervals: [{kind: work, length: 3s, exercise: A}]}
exercises: {A: {}}
"""
MORE = "title: More\nsession: [{pattern: script, block: B, intervals: [{kind: rest, length: 2s}]}]\n"

# A command, and what it must not write onto: its inputs, by their own names, by a link and by a hard link,
# and files that are somebody's own ("theirs" in any place).
ONTO_INPUTS = [
    "render p.wav --out p.wav",
    "render t.md --out t.m4a",
    "render t.schedule.json --no-extras --out t.flac",
    "render t.srt --srt --out t.opus",
    "render plan.yaml --out hard.m4a",
    "render plan.yaml --out linked.mp3",
    "check track.wav --json track.wav",
    "check track.wav --page track.wav",
    "check track.wav --json track.schedule.json",
    "check track.wav --page track.schedule.json",
    "check track.wav --schedule other.json --json other.json",
    "check track.wav --against other.wav --json other.wav",
    "check track.wav --page hard-track.html",
    "script plan.yaml --html plan.yaml",
    "script plan.yaml --json plan.yaml",
    "script plan.yaml --json hard.m4a",
    "takes plan.yaml reading.wav --voice mine --json plan.yaml",
    "takes plan.yaml reading.wav --voice mine --json reading.wav",
    "takes plan.yaml voices/new/index.json --voice new",
    "adapt reading.wav --out class --json reading.wav",
    "adapt reading.wav --captions words.vtt --out class --json words.vtt",
    "adapt reading.wav --plan plan.yaml --out class --json plan.yaml",
    "adapt reading.wav --plan plan.yaml --out .",
    "under track.wav song.wav --out track.wav",
    "under track.wav song.wav --out song.wav",
    "under track.wav song.wav --schedule mix.schedule.json --out mix.flac",
    "under track.wav song.wav --out track.flac",
    "under hard-track.html song.wav --schedule track.schedule.json --out track.wav",
]
ONTO_THEIRS = [
    "render plan.yaml --out theirs.wav",
    "render plan.yaml --out theirs2.wav",
    "check track.wav --json theirs.md",
    "check track.wav --page theirs.md",
    "script plan.yaml --html theirs.md",
    "script plan.yaml --json theirs.md",
    "takes plan.yaml reading.wav --voice old",
    "takes plan.yaml reading.wav --voice new --json theirs.md",
    "adapt reading.wav --out theirs",
    "adapt reading.wav --out class --json theirs.md",
    "under track.wav song.wav --out theirs.wav",
    "under track.wav song.wav --out theirs3.wav",
    "new circuit --out theirs.md",
    "new circuit --out theirs/other.yaml",
    "voices natural --out theirs.wav",
    "voices natural --out more.yaml.wav",
]


def _schedule() -> Schedule:
    interval = ScheduledInterval(0, "A", "work", 1, "A", None, 0, 48_000)
    pip = Event("e1", "pip", "long", 0, 24_000, 28_800, frequency_hz=880.0)
    return Schedule("Two", "en", 48_000, 48_000, (interval,), (pip,))


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder with all that a person may have lying beside one another, as the working folder."""
    monkeypatch.chdir(tmp_path)
    sound = np.zeros(48_000, np.float32)
    for name in ("track", "other", "song", "reading", "theirs", "more.yaml"):
        soundfile.write(f"{name}.wav", sound, 48_000)
    for name in ("plan.yaml", "p.wav", "t.md", "t.schedule.json", "t.srt"):
        Path(name).write_text(PLAN, encoding="utf-8")
    Path("more.yaml").write_text(MORE, encoding="utf-8")
    for name in ("track.schedule.json", "other.json", "mix.schedule.json"):
        Path(name).write_text(to_json(_schedule()), encoding="utf-8")
    Path("words.vtt").write_text("WEBVTT\n\n00:00.000 --> 00:01.000\nHello\n", encoding="utf-8")
    for name in ("theirs.md", "theirs2.md", "theirs3.schedule.json"):
        Path(name).write_text("# my own notes\n", encoding="utf-8")
    for name in ("theirs", "voices/old", "voices/new"):
        Path(name).mkdir(parents=True)
    Path("theirs/report.md").write_text("mine", encoding="utf-8")
    Path("theirs/plan.schema.json").write_text("{}", encoding="utf-8")
    Path("voices/old/index.json").write_text('{"clips": []}', encoding="utf-8")
    os.link("plan.yaml", "hard.m4a")
    os.link("track.wav", "hard-track.html")
    Path("linked.mp3").symlink_to("plan.yaml")
    if os.name != "nt":
        # Recordings may be of any kind; here the very index that would be written.
        soundfile.write("voices/new/index.json", sound, 48_000, format="WAV")
    return tmp_path


def _contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("line", ONTO_INPUTS)
def test_no_command_writes_onto_what_it_reads(line: str, desk: Path) -> None:
    """With or without --force: exit code 2, a message that names the file, and not a byte is another."""
    before = _contents(desk)
    for force in ([], ["--force"]):
        with pytest.raises(UsageError, match="would be overwritten by the result") as caught:
            run([*shlex.split(line), *force])
        assert caught.value.exit_code == 2
        assert _contents(desk) == before


@pytest.mark.parametrize("line", ONTO_THEIRS)
def test_a_file_of_somebody_else_is_refused(line: str, desk: Path) -> None:
    """Exit code 2 before any work, the file named, --force named, and not a byte is another."""
    before = _contents(desk)
    with pytest.raises(UsageError, match=r"(was not written by cuelane|it is yours).*--force"):
        run(shlex.split(line))
    assert _contents(desk) == before


def test_every_command_that_writes_stands_in_both_tables() -> None:
    """A command with an option that names a result has rows, so that a new one is not forgotten."""
    import typer.main

    from cuelane.cli.app import app

    commands = typer.main.get_command(app).commands  # type: ignore[attr-defined]
    writers = {name for name, command in commands.items() if any("--force" in p.opts for p in command.params)}
    # `batch` goes on where one file is refused, and tells it at the end (test_batch.py); what `shelf` writes
    # lies in a folder of its own (test_shelf.py).
    writers -= {"batch", "shelf"}
    assert writers == {"render", "check", "script", "takes", "adapt", "under", "new", "voices"}
    assert {line.split()[0] for line in ONTO_THEIRS} == writers
    # Neither of these reads a file that could be named as its result.
    assert {line.split()[0] for line in ONTO_INPUTS} == writers - {"new", "voices"}


def test_two_results_need_two_names(desk: Path) -> None:
    """A page and a report cannot be one file."""
    with pytest.raises(UsageError, match="is named for two results"):
        run(["script", "plan.yaml", "--html", "x.html", "--json", "x.html"])


TINY = """\
title: {title}
cautions: none
lead_in: 1s
closing: false
pips: false
session: [{{pattern: script, block: A, intervals: [{{kind: work, length: 2s, exercise: A}}]}}]
exercises: {{A: {{}}}}
"""


def _rendered(
    folder: Path, title: str, extras: bool = True, name: str = "x.wav", force: bool = False
) -> None:
    (folder / "tiny.yaml").write_text(TINY.format(title=title), encoding="utf-8")
    render(folder / "tiny.yaml", folder / name, RenderOptions(extras=extras), store=ClipStore(), force=force)


def test_a_render_replaces_its_own_set_and_no_other(tmp_path: Path, store_folder: Path) -> None:
    """Rendering again asks for nothing; a companion that a person edited is kept until they say --force."""
    _rendered(tmp_path, "One")
    _rendered(tmp_path, "Two")
    assert "Two" in (tmp_path / "x.md").read_text(encoding="utf-8")
    for name in ("x.md", "x.html", "x.wav", "x.schedule.json"):
        mine = (tmp_path / name).read_bytes() + b"\nmine"
        (tmp_path / name).write_bytes(mine)
        before = _contents(tmp_path) | {"tiny.yaml": TINY.format(title="Three").encode()}
        with pytest.raises(UsageError, match=r"there is a file already.*--force"):
            _rendered(tmp_path, "Three")
        assert _contents(tmp_path) == before
        _rendered(tmp_path, "Three", force=True)
        assert (tmp_path / name).read_bytes() != mine


def test_what_went_with_a_track_goes_with_it(tmp_path: Path, store_folder: Path) -> None:
    """A page and captions of the old track do not stay beside the new one, unless a person edited them."""
    _rendered(tmp_path, "One")
    for _ in range(2):
        _rendered(tmp_path, "One", extras=False, name="x.flac")
    # The set still goes with x.wav, and both tracks can be rendered again.
    assert (tmp_path / "x.html").exists()
    _rendered(tmp_path, "One", name="x.wav")
    notes = (tmp_path / "x.md").read_bytes() + b"mine"
    (tmp_path / "x.md").write_bytes(notes)
    _rendered(tmp_path, "Two", extras=False)
    assert {path.name for path in tmp_path.iterdir()} == {
        "tiny.yaml", "x.flac", "x.wav", "x.schedule.json", "x.md"
    }  # fmt: skip
    assert (tmp_path / "x.md").read_bytes() == notes


def test_a_set_whose_schedule_is_gone_is_known_by_its_page(tmp_path: Path, store_folder: Path) -> None:
    """Who deletes a file of a set, its schedule or any, is not asked for --force; an edit still counts."""
    name = "a-->b.wav"
    _rendered(tmp_path, "One", name=name)
    for lost in ("a-->b.schedule.json", "a-->b.html", name):
        (tmp_path / lost).unlink()
        _rendered(tmp_path, lost, name=name)
        assert lost in (tmp_path / "a-->b.schedule.json").read_text(encoding="utf-8")
    whole = _contents(tmp_path)
    for edited in ("a-->b.md", "a-->b.html"):
        (tmp_path / "a-->b.schedule.json").unlink()
        (tmp_path / edited).write_bytes(whole[edited] + b"\nmine")
        with pytest.raises(UsageError, match=r"there is a file already.*--force"):
            _rendered(tmp_path, "Three", name=name)
        for each, content in whole.items():
            (tmp_path / each).write_bytes(content)


def test_a_sealed_page_without_a_list_of_ours_lists_nothing(tmp_path: Path) -> None:
    """Anybody can make a seal that fits: what such a page says where ours lists the set may be anything."""
    page, theirs = tmp_path / "t.html", tmp_path / "t.wav"
    theirs.write_bytes(b"theirs")
    for told in ("{x}", '{"u.wav": 1}', "{}"):
        page.write_bytes(sealed(sealable_html(f"<!-- cuelane-files {told} -->").encode()))
        with (
            pytest.raises(UsageError, match="was not written by cuelane"),
            all_or_nothing(theirs, listing=tmp_path / "t.schedule.json", page=page),
        ):
            pass


def test_a_seal_fits_only_what_was_written(tmp_path: Path) -> None:
    """One byte more, less or other anywhere, and the file is no longer ours."""
    for text in (sealable_json('{"a": 1}'), sealable_html("<p>x</p>"), f"before {BLANK_SEAL} after"):
        content = sealed(text.encode())
        path = tmp_path / "file"
        path.write_bytes(content)
        assert is_sealed(path)
        for place in range(len(content)):
            path.write_bytes(content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :])
            assert not is_sealed(path), place
        for other in (content[:-1], content + b"\n", b"", text.encode()):
            path.write_bytes(other)
            assert not is_sealed(path)


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".m4a", ".mp3"])
def test_a_spoken_line_is_replaced_until_it_is_edited(suffix: str, desk: Path, store_folder: Path) -> None:
    """A line tried again and again asks for nothing; one that went through another program does."""
    line = ["voices", "natural", "--say", "Ten seconds left.", "--out", f"line{suffix}"]
    assert run(line) == 0
    assert run(line) == 0
    path = Path(f"line{suffix}")
    path.write_bytes(path.read_bytes() + b"\0")
    with pytest.raises(UsageError, match="--force"):
        run(line)


@pytest.mark.parametrize("sign", ["n", "é", "漢", "𝄞"])
@pytest.mark.parametrize("length", [255, 250, 241])
def test_a_name_as_long_as_file_systems_allow(length: int, sign: str, tmp_path: Path) -> None:
    """Temporary names are short, whatever the file's own name; one byte too many is told before any work.

    A name may have 255 bytes, elsewhere 255 UTF-16 units or signs, which is never fewer.
    """
    n_bytes = length - len(".m4a")
    name = sign * (n_bytes // len(sign.encode())) + "n" * (n_bytes % len(sign.encode())) + ".m4a"
    assert len(name.encode()) == length
    with all_or_nothing(tmp_path / name) as staged:
        staged.write_text(tmp_path / name, "x")
    assert (tmp_path / name).read_text() == "x"
    with (
        pytest.raises((UsageError, DeliveryError), match="too long"),
        all_or_nothing(tmp_path / f"{'n' * 256}"),
    ):
        pass


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
@pytest.mark.parametrize("container", ["WAV", "FLAC"])
def test_a_full_disk_is_named(container: str, tmp_path: Path) -> None:
    """libsndfile says "System error." of every refusal; the message must say that the disk is full."""
    from cuelane.media.counted import CountedBlocks
    from cuelane.media.formats import PcmCoding
    from cuelane.media.pcm import write_pcm

    path = tmp_path / "full"
    path.symlink_to("/dev/full")
    noise = np.random.default_rng(1).uniform(-1, 1, (200_000, 1)).astype(np.float32)
    with pytest.raises(OSError, match="No space left on device"):
        write_pcm(path, CountedBlocks([noise], 1), PcmCoding(container=container), 48_000, None, {})
