"""A plan under edit: on the disk at once, never lost to another writer, taken back step by step."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from cuelane.audio.store import ClipStore
from cuelane.base.errors import CuelaneError, DeliveryError, PlanError, UsageError
from cuelane.desk.document import ChangedElsewhereError, Document, digest_of
from cuelane.desk.edits import Edit, EditError, Insert, Remove, Set
from cuelane.desk.folder import Folder
from cuelane.desk.named_files import files_named
from cuelane.desk.splice import apply
from cuelane.desk.workspace import Workspaces

PLAN = "title: One\nsession:\n  - say: A\n  - say: B\n"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "p.yaml"
    made.write_text(PLAN, encoding="utf-8")
    return made


def title(path: Path) -> str:
    return path.read_text(encoding="utf-8").splitlines()[0].removeprefix("title: ")


def test_an_edit_is_on_the_disk_when_it_is_confirmed(path: Path) -> None:
    """The file is the truth."""
    document = Document(path)
    version = document.edit([Set(("title",), "Two")], what="title", number=document.now().number)
    assert title(path) == "Two"
    assert version.can_undo
    assert not version.can_redo


def test_what_was_seen_counts_and_not_how_often_it_was_changed(path: Path) -> None:
    """After a new start the count begins again: an index of an older text is not one of this text."""
    document = Document(path)
    seen = digest_of(PLAN)
    path.write_text(PLAN.replace("  - say: A", "  - say: Z\n  - say: A"), encoding="utf-8")
    started_again = Document(path)
    assert started_again.now().number == document.now().number - 1
    with pytest.raises(ChangedElsewhereError):
        started_again.edit([Remove(("session", 0))], what="", number=1, seen=seen)
    with pytest.raises(ChangedElsewhereError):
        started_again.undo(seen)
    path.write_text(PLAN, encoding="utf-8")
    version = started_again.edit([Remove(("session", 0))], what="", number=77, seen=seen)
    assert version.base == seen
    assert path.read_text(encoding="utf-8") == "title: One\nsession:\n  - say: B\n"
    assert started_again.undo(digest_of(version.text)).text == PLAN


def test_two_hundred_steps_back_and_forth(path: Path) -> None:
    """Every step can be taken back, and made again."""
    document = Document(path)
    for n in range(200):
        document.edit([Set(("title",), f"T{n}")], what=str(n), number=document.now().number)
    for n in range(198, -1, -1):
        document.undo()
        assert title(path) == f"T{n}"
    document.undo()
    assert path.read_text(encoding="utf-8") == PLAN
    assert not document.undo().can_undo
    for _ in range(200):
        document.redo()
    assert title(path) == "T199"


def test_a_step_asked_for_again_is_taken_once(path: Path) -> None:
    """No answer came to it: it is told as taken, forth as well as back; another's step is not."""
    document = Document(path)
    first = document.now()
    second = document.edit([Set(("title",), "Two")], what="", number=1)
    third = document.edit([Set(("title",), "Three")], what="", number=2)
    for _ in range(2):
        found = document.undo(digest_of(third.text), again=True)
        assert (found.text, found.base) == (second.text, digest_of(third.text))
    with pytest.raises(ChangedElsewhereError):
        document.undo(digest_of(third.text))
    for _ in range(2):
        found = document.redo(digest_of(second.text), again=True)
        assert (found.text, found.base) == (third.text, digest_of(second.text))
    path.write_text(first.text.replace("voice: system", "voice: natural"), encoding="utf-8")
    with pytest.raises(ChangedElsewhereError):
        document.undo(digest_of(third.text), again=True)


def test_an_edit_made_meanwhile_in_an_editor_is_kept(path: Path) -> None:
    """An edit of another place is made on top of it; and undo brings back what the editor wrote."""
    document = Document(path)
    number = document.now().number
    path.write_text(PLAN.replace("say: B", "say: Bee"), encoding="utf-8")
    document.edit([Set(("title",), "Two")], what="", number=number, was="One")
    assert path.read_text(encoding="utf-8") == PLAN.replace("B", "Bee").replace("One", "Two")
    document.undo()
    assert path.read_text(encoding="utf-8") == PLAN.replace("B", "Bee")
    document.undo()
    assert path.read_text(encoding="utf-8") == PLAN


def test_two_changes_of_one_place_are_both_offered(path: Path) -> None:
    """Nothing is overwritten; the person is shown what stands there now."""
    document = Document(path)
    number = document.now().number
    path.write_text(PLAN.replace("One", "Theirs"), encoding="utf-8")
    with pytest.raises(ChangedElsewhereError) as caught:
        document.edit([Set(("title",), "Mine")], what="", number=number, was="One")
    assert caught.value.theirs == "Theirs"
    assert title(path) == "Theirs"


def quicker(monkeypatch: pytest.MonkeyPatch, change: Callable[[], object]) -> None:
    """Let another program change the file while the first edit from now on is being made."""
    waiting = [change]

    def applied(text: str, edit: Edit) -> str:
        made = apply(text, edit)
        if waiting:
            waiting.pop()()
        return made

    monkeypatch.setattr("cuelane.desk.document.apply", applied)


def test_an_edit_that_another_desk_overtakes_is_made_on_top(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between reading and writing the file another desk writes it: neither edit is lost."""
    document, other = Document(path), Document(path)
    number = document.now().number
    quicker(monkeypatch, lambda: other.edit([Set(("session", 1, "say"), "Bee")], what="b", number=number))
    document.edit([Set(("title",), "Two")], what="title", number=number, was="One")
    assert path.read_text(encoding="utf-8") == PLAN.replace("One", "Two").replace("say: B", "say: Bee")
    assert "say: Bee" in document.undo().text


def test_an_edit_that_is_overtaken_at_its_place_is_handed_back(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the other desk wrote stays until the person has chosen."""
    document, other = Document(path), Document(path)
    number = document.now().number
    quicker(monkeypatch, lambda: other.edit([Set(("title",), "Theirs")], what="", number=number))
    with pytest.raises(ChangedElsewhereError) as caught:
        document.edit([Set(("title",), "Mine")], what="", number=number, was="One")
    assert (title(path), caught.value.theirs) == ("Theirs", "Theirs")


def test_a_file_that_another_program_never_leaves_alone_is_said(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The desk does not try for ever, and writes over nothing."""
    document, texts = Document(path), iter(range(1_000))

    def applied(text: str, edit: Edit) -> str:
        path.write_text(f"{PLAN}# {next(texts)}\n", encoding="utf-8")
        return apply(text, edit)

    monkeypatch.setattr("cuelane.desk.document.apply", applied)
    with pytest.raises(DeliveryError, match="another program"):
        document.edit([Set(("title",), "Mine")], what="", number=document.now().number, was="One")
    assert title(path) == "One"


def test_a_stale_index_moves_nothing(path: Path) -> None:
    """What is counted by place is done only on what the person saw."""
    document = Document(path)
    number = document.now().number
    document.edit([Insert(("session",), 0, {"say": "Z"})], what="", number=number)
    before = path.read_text(encoding="utf-8")
    with pytest.raises(ChangedElsewhereError):
        document.edit([Insert(("session",), 1, {"say": "Y"})], what="", number=number)
    assert path.read_text(encoding="utf-8") == before


def test_a_refused_edit_changes_nothing(path: Path) -> None:
    """All of a step or none of it."""
    document = Document(path)
    number = document.now().number
    with pytest.raises(EditError):
        document.edit([Set(("title",), "Two"), Set(("no", "where"), 1)], what="", number=number)
    assert path.read_text(encoding="utf-8") == PLAN
    assert document.now().number == number


@pytest.mark.parametrize(
    "text", ["title: One\n#" + "a" * 600_000 + "\n", 'title: "O\0ne"\n'], ids=["large", "zero"]
)
def test_a_text_that_could_not_be_read_again_is_not_written(path: Path, text: str) -> None:
    """It was, and then neither the plan nor a step back could be had at the desk."""
    document = Document(path)
    with pytest.raises(PlanError):
        document.replace(text, what="text", number=document.now().number)
    assert path.read_text(encoding="utf-8") == PLAN
    assert document.now().number == 1


def test_a_text_is_written_as_it_will_be_read(path: Path) -> None:
    """A byte order mark and line ends of other systems were taken for a change outside the desk."""
    document = Document(path)
    written = document.replace("\ufefftitle: Two\r\nlanguage: en\r", what="text", number=1)
    assert written.text == "title: Two\nlanguage: en\n"
    assert document.now().number == written.number


def test_only_plans_of_the_folder_are_opened(path: Path, tmp_path: Path) -> None:
    """No path, no link out of the folder, no hidden file, no other kind of file."""
    outside = tmp_path / "inner"
    outside.mkdir()
    (outside / "own.yaml").write_text(PLAN, encoding="utf-8")
    (outside / "link.yaml").symlink_to(path)
    (outside / "note.txt").write_text("x", encoding="utf-8")
    folder = Folder(outside)
    assert folder.names() == ["own.yaml"]
    for name in (
        "../p.yaml",
        "link.yaml",
        "note.txt",
        ".yaml",
        "",
        "inner/own.yaml",
        "/etc/passwd",
        "own.yaml\0",
    ):
        with pytest.raises(CuelaneError):
            folder.document(name)
    assert folder.document("own.yaml") is folder.document("own.yaml")


def test_a_plan_is_opened_without_a_look_at_all_others(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The shelf opens each of them: were each to list the folder, its time would grow with their square."""
    below = tmp_path / "class"
    below.mkdir()
    (below / "plan.yaml").write_text("title: Below\n", encoding="utf-8")
    folder = Folder(tmp_path)
    with monkeypatch.context() as patched:
        patched.setattr(Folder, "_entries", lambda _self: pytest.fail("the folder was listed"))
        assert folder.document(path.name).path == path
        assert folder.document("class:plan.yaml").path == below / "plan.yaml"
        assert folder.plan_below("class") == below / "plan.yaml"
    for name in ("", ".", "..", "class/..", ".class", "none", path.name):
        assert folder.folder(name) is None
    for name in (":plan.yaml", ".:plan.yaml", "none:plan.yaml", "class:other.yaml"):
        with pytest.raises(UsageError):
            folder.document(name)


def test_a_killed_desk_loses_no_confirmed_edit(path: Path) -> None:
    """Killed at twenty moments: the last edit that was confirmed is in the file, or a later one, whole."""
    code = (
        "import sys\nfrom pathlib import Path\nfrom cuelane.desk.document import Document\n"
        "from cuelane.desk.edits import Set\nd = Document(Path(sys.argv[1]))\n"
        "for n in range(100000):\n"
        "    d.edit([Set(('title',), f'T{n}')], what='', number=d.now().number)\n"
        "    print(n, flush=True)\n"
    )
    for wanted in range(1, 40, 2):
        with subprocess.Popen(
            [sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE, text=True
        ) as running:
            assert running.stdout is not None
            confirmed = [running.stdout.readline() for _ in range(wanted)][-1]
            os.kill(running.pid, signal.SIGKILL)
            confirmed = ([confirmed] + [line for line in running.stdout if line.endswith("\n")])[-1]
        assert int(title(path).removeprefix("T")) in (int(confirmed), int(confirmed) + 1)


def test_a_file_that_is_gone_is_said(path: Path) -> None:
    """Not a traceback."""
    document = Document(path)
    path.unlink()
    with pytest.raises(CuelaneError):
        document.now()
    with pytest.raises(UsageError):
        Folder(path.parent).document("p.yaml")


def test_a_plan_follows_the_files_that_it_includes(tmp_path: Path) -> None:
    """Changed, broken and mended elsewhere, also at depth, though its own text stays the same."""
    (tmp_path / "day.yaml").write_text("title: Day\nsession:\n  - include: one.yaml\n", encoding="utf-8")
    one, two = tmp_path / "one.yaml", tmp_path / "two.yaml"
    one.write_text("title: One\nsession:\n  - include: two.yaml\n", encoding="utf-8")
    two.write_text("title: Two\nsession:\n  - rest: 30s\n", encoding="utf-8")
    workspace = Workspaces(tmp_path, ClipStore(tmp_path / "store")).open("day.yaml")

    def length_s() -> float | None:
        schedule = workspace.now()[1].schedule
        return None if schedule is None else schedule.n_frames / schedule.sample_rate

    first = length_s()
    assert first is not None
    two.write_text("title: Two\nsession:\n  - rest: 1m30s\n", encoding="utf-8")
    assert length_s() == first + 60
    one.write_text("title: One\nsession: [\n", encoding="utf-8")
    assert length_s() is None
    one.write_text("title: One\nsession:\n  - include: two.yaml\n  - rest: 10s\n", encoding="utf-8")
    assert length_s() == first + 70
    assert workspace.at_hand() is workspace.now()[1]


@pytest.mark.parametrize(
    "name", ["/etc/hosts", "../a.yaml", "x/../../a.yaml", r"..\a.yaml", r"\\host\share\a.yaml", "C:a.yaml"]
)
def test_no_file_outside_is_looked_for_because_a_plan_names_it(name: str, tmp_path: Path) -> None:
    """Of a plan's includes only those in its folder are looked at for changes; a host would be called."""
    text = f"title: T\nsession:\n  - include: '{name}'\n  - include: parts/warm-up.yaml\n"
    assert files_named(tmp_path / "p.yaml", text) == [tmp_path / "parts" / "warm-up.yaml"]
