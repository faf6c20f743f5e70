"""Several files, all or none."""

# ruff: noqa: PT012  (the error has to come from inside, or from the end, of the block that stages files)

from __future__ import annotations

from pathlib import Path

import pytest

from cuelane.base.errors import DeliveryError, UsageError
from cuelane.base.files import all_or_nothing


def _holds(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text() for path in folder.iterdir() if path.is_file()}


def test_files_take_their_places_together(tmp_path: Path) -> None:
    """Until the end the old files are there; then all the new ones are, and nothing else."""
    (tmp_path / "a.txt").write_text("old a")
    with all_or_nothing(force=True) as staged:
        staged.write_text(tmp_path / "a.txt", "new ä\n")
        made = staged.path_for(tmp_path / "b.m4a")
        made.write_bytes(b"sound")
        assert made.suffix == ".m4a"
        assert made.parent.parent == tmp_path
        assert (tmp_path / "a.txt").read_text() == "old a"
        assert not (tmp_path / "b.m4a").exists()

    assert _holds(tmp_path) == {"a.txt": "new ä\n", "b.m4a": "sound"}


@pytest.mark.parametrize("error", [ValueError("no"), KeyboardInterrupt(), SystemExit(3)])
def test_an_error_leaves_everything_as_it_was(tmp_path: Path, error: BaseException) -> None:
    """Whatever stops the work, Ctrl-C too, the old file is whole and no temporary one stays."""
    (tmp_path / "a.txt").write_text("old")
    with pytest.raises(type(error)), all_or_nothing(force=True) as staged:
        staged.write_text(tmp_path / "a.txt", "new")
        staged.path_for(tmp_path / "b.txt").write_text("half")
        raise error

    assert _holds(tmp_path) == {"a.txt": "old"}


@pytest.mark.parametrize("failing", [0, 1, 2])
@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_rename_that_fails_undoes_those_before_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: int, error: BaseException
) -> None:
    """If the nth rename fails, files replaced before it hold their old content again, new ones are gone."""
    (tmp_path / "0.txt").write_text("old 0")
    (tmp_path / "2.txt").write_text("old 2")
    real = Path.replace
    calls = []

    def replace(self: Path, target: Path) -> Path:
        if target.parent == tmp_path and not self.name.startswith("old-"):
            calls.append(self)
            if len(calls) == failing + 1:
                raise error
        return real(self, target)

    monkeypatch.setattr(Path, "replace", replace)
    expected = DeliveryError if isinstance(error, OSError) else KeyboardInterrupt
    with pytest.raises(expected), all_or_nothing(force=True) as staged:
        for number in range(3):
            staged.write_text(tmp_path / f"{number}.txt", f"new {number}")

    assert len(calls) == failing + 1
    assert _holds(tmp_path) == {"0.txt": "old 0", "2.txt": "old 2"}


def test_without_hard_links_the_old_file_is_copied_aside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a file system that has no hard links the result is the same."""

    def refuses(*_: object) -> None:
        raise OSError("not supported")

    monkeypatch.setattr("os.link", refuses)
    (tmp_path / "a.txt").write_text("old")
    with all_or_nothing(force=True) as staged:
        staged.write_text(tmp_path / "a.txt", "new")

    assert _holds(tmp_path) == {"a.txt": "new"}


def test_a_promised_file_that_was_not_written_is_an_error(tmp_path: Path) -> None:
    """A path that was asked for but not written stops the delivery before anything changes."""
    (tmp_path / "a.txt").write_text("old")
    with (
        pytest.raises(DeliveryError, match=r"b\.txt: was promised but not written"),
        all_or_nothing(force=True) as staged,
    ):
        staged.write_text(tmp_path / "a.txt", "new")
        staged.path_for(tmp_path / "b.txt")

    assert _holds(tmp_path) == {"a.txt": "old"}


def test_targets_that_cannot_be_are_refused_at_once(tmp_path: Path) -> None:
    """A folder as target, or a folder that is not there, is told before any work is done."""
    with all_or_nothing(force=True) as staged:
        with pytest.raises(UsageError, match="is a folder; give the name of a file"):
            staged.path_for(tmp_path)
        with pytest.raises(UsageError, match="does not exist; make it first"):
            staged.path_for(tmp_path / "nowhere" / "a.txt")
    # A byte that is no UTF-8, as Python gives it (PEP 383): its set could not be listed at the end.
    with (
        pytest.raises(UsageError, match="its name is not UTF-8 text"),
        all_or_nothing(tmp_path / "a\udcff.wav", listing=tmp_path / "a\udcff.schedule.json"),
    ):
        pass


def test_long_names_do_not_overflow(tmp_path: Path) -> None:
    """A name as long as file systems allow can still be written."""
    name = "n" * 240 + ".schedule.json"
    with all_or_nothing(force=True) as staged:
        staged.write_text(tmp_path / name, "{}")

    assert _holds(tmp_path) == {name: "{}"}
