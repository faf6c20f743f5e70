"""Plans copied, renamed, deleted and brought back at the desk: nothing is lost, all that names them does."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from cuelane.audio.store import ClipStore
from cuelane.base.seals import digest_of, sealable_json, sealed
from cuelane.desk import keeping as keeping_module
from cuelane.desk.app import application
from cuelane.desk.workspace import Workspace
from cuelane.plan.load import load_plan
from cuelane.plan.series import load_series
from deskkit import Answer, ask, post

WALK = "# how we walk\ntitle: Walk\nvoice: system\nsession:\n  - say: Walk along the quay.   # slowly\n"
EVENING = "title: Evening\nvoice: system\nsession:\n  - include: walk.yaml   # the usual one\n  - rest: 30s\n"
PART = "title: Part\nsession:\n  - include: ../walk.yaml\n"
MORNING = "title: Morning\nvoice: system\nsession:\n  - include: parts/part.yaml\n"
TITLED = "title: {}\nvoice: system\nsession:\n  - say: {{text: Sit tall., clip: clips/001.wav}}\n"
SERIES = "title: Quays\nplans: [walk.yaml, evening.yaml]  # two\n"


@pytest.fixture(autouse=True)
def nothing_is_spoken(monkeypatch: pytest.MonkeyPatch) -> None:
    """These are files alone; speaking is tried elsewhere."""
    monkeypatch.setattr(Workspace, "_speak_all", lambda _self: None)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a plan that two others and a series name."""
    made = tmp_path / "plans"
    (made / "parts").mkdir(parents=True)
    texts = {"walk": WALK, "evening": EVENING, "parts/part": PART, "morning": MORNING, "series": SERIES}
    for name, text in texts.items():
        (made / f"{name}.yaml").write_text(text, encoding="utf-8")
    return made


@pytest.fixture
def desk(folder: Path, tmp_path: Path) -> Any:
    return application(folder, ClipStore(tmp_path / "clips"))


def do(desk: Any, act: str, name: str, title: str = "") -> Answer:
    return post(desk, f"/api/shelf/{name}/{act}", {"title": title})


def back(desk: Any, key: str) -> Answer:
    return post(desk, f"/api/deleted/{key}/back", {})


def names_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def put_away(folder: Path) -> list[str]:
    """Return the keys of what was deleted, as its folders are called."""
    return names_in(folder / "deleted") if (folder / "deleted").is_dir() else []


def everything(folder: Path) -> dict[str, bytes]:
    """Return all files by name."""
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def without(folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).unlink()


def write_track(plan: Path, *, stem: str = "") -> list[str]:
    """Write what a render leaves beside a plan, small; return the names."""
    stem = stem or plan.stem
    beside = [plan.with_name(f"{stem}{end}") for end in (".m4a", ".vtt")]
    for path in beside:
        path.write_bytes(b"made of " + stem.encode())
    files = {path.name: {"sha256": digest_of(path)} for path in beside}
    listing = plan.with_name(f"{stem}.schedule.json")
    listing.write_bytes(sealed(sealable_json(json.dumps({"files": files})).encode()))
    return [path.name for path in (*beside, listing)]


def test_a_copy_is_a_plan_of_its_own_beside_the_first(desk: Any, folder: Path) -> None:
    """All but the title is the same byte for byte, and what it puts in is found; the first is untouched."""
    before = everything(folder)
    answer = do(desk, "copy", "evening.yaml", " Late   evening ")
    assert (answer.status, answer.json) == (200, {"name": "late-evening.yaml"})
    assert everything(folder) == before | {
        "late-evening.yaml": EVENING.replace("Evening", "Late evening").encode()
    }
    assert load_plan(folder / "late-evening.yaml").includes
    assert do(desk, "copy", "evening.yaml", "Late evening").json == {"name": "late-evening-2.yaml"}


def test_a_copy_speaks_with_the_recordings_of_the_first(desk: Any, folder: Path) -> None:
    """They lie beside both, and belong to neither alone."""
    text = WALK.replace("system", "mine")
    (folder / "walk.yaml").write_text(text, encoding="utf-8")
    (folder / "voices" / "mine").mkdir(parents=True)
    (folder / "voices" / "mine" / "index.json").write_text('{"clips": []}', encoding="utf-8")
    name = do(desk, "copy", "walk.yaml", "Stroll").json["name"]
    state = ask(desk, "GET", f"/api/plan/{name}").json
    assert state["title"] == "Stroll"
    assert not [one for one in state["findings"] if one["level"] == "error"]


def test_a_plan_that_has_errors_is_copied_as_it_stands(desk: Any, folder: Path) -> None:
    """Whoever is about to mend it may want to keep it."""
    (folder / "walk.yaml").write_text("title: [\n", encoding="utf-8")
    name = do(desk, "copy", "walk.yaml", "Walk before").json["name"]
    assert (folder / name).read_text(encoding="utf-8") == "title: [\n"


def test_a_name_that_an_old_track_has_is_not_given_to_a_new_plan(desk: Any, folder: Path) -> None:
    """It would be taken for the new one's."""
    write_track(folder / "stroll.yaml")
    assert do(desk, "copy", "walk.yaml", "Stroll").json["name"] == "stroll-2.yaml"
    assert post(desk, "/api/new", {"title": "Stroll", "pattern": "circuit"}).json["name"] == "stroll-3.yaml"


def test_what_names_a_renamed_plan_names_it_still(desk: Any, folder: Path) -> None:
    """Plans beside it and below, and the series; all else in them stays as it was written."""
    answer = do(desk, "rename", "walk.yaml", "Long walk")
    assert answer.status == 200, answer.json
    assert answer.json["said"] == "Renamed. Its file is called long-walk.yaml now."
    assert answer.json["focus"] == "acts/long-walk.yaml"
    texts = {"long-walk": WALK.replace("Walk\n", "Long walk\n", 1), "morning": MORNING}
    texts |= {"evening": EVENING.replace("walk.yaml", "long-walk.yaml")}
    texts |= {"series": SERIES.replace("walk.yaml", "long-walk.yaml", 1)}
    texts |= {"parts/part": PART.replace("walk.yaml", "long-walk.yaml")}
    assert everything(folder) == {f"{name}.yaml": text.encode() for name, text in texts.items()}
    load_plan(folder / "evening.yaml")
    load_plan(folder / "morning.yaml")
    load_series(folder / "series.yaml")


def test_a_renamed_plan_keeps_its_steps_and_its_old_name_is_answered(desk: Any, folder: Path) -> None:
    """Undo goes on over the renaming; whoever has the old page open is told how the plan is called."""
    state = ask(desk, "GET", "/api/plan/walk.yaml").json
    edit = {"op": "set", "at": "author", "kind": "text", "typed": "Ada"}
    post(desk, "/api/plan/walk.yaml/edit", {"number": state["number"], "edits": [edit], "what": "author"})
    do(desk, "rename", "walk.yaml", "Stroll")
    old = ask(desk, "GET", "/api/plan/walk.yaml")
    assert (old.status, old.json["error"]) == (400, "the plan 'walk.yaml' is called 'stroll.yaml' now")
    for _ in range(2):
        assert post(desk, "/api/plan/stroll.yaml/undo", {}).status == 200
    assert (folder / "stroll.yaml").read_text(encoding="utf-8") == WALK
    assert not (folder / "walk.yaml").exists()


def test_a_plan_whose_name_fits_gets_the_title_alone(desk: Any, folder: Path) -> None:
    """As does one that is called so already; a copy's number is no other title."""
    write_track(folder / "walk.yaml")
    before = everything(folder)
    assert do(desk, "rename", "walk.yaml", "Walk").json["focus"] == "acts/walk.yaml"
    assert everything(folder) == before
    do(desk, "rename", "walk.yaml", "WALK!")
    assert everything(folder) == before | {"walk.yaml": WALK.replace("Walk\n", "WALK!\n", 1).encode()}


def test_tracks_with_the_old_title_are_put_away(desk: Any, folder: Path) -> None:
    """With the mix; what a person wrote, or changed since, stays."""
    made = [*write_track(folder / "walk.yaml"), *write_track(folder / "walk.yaml", stem="walk-with-music")]
    (folder / "walk.md").write_text("my notes", encoding="utf-8")
    (folder / "walk.vtt").write_text("mine by now", encoding="utf-8")
    answer = do(desk, "rename", "walk.yaml", "Stroll")
    assert "The track with the old name is among what was deleted" in answer.json["said"]
    assert answer.json["go"] == {"href": "/finish/stroll.yaml", "text": "Finish"}
    (key,) = put_away(folder)
    assert names_in(folder / "deleted" / key) == sorted({*made} - {"walk.vtt"})
    assert (folder / "walk.md").is_file()
    assert (folder / "walk.vtt").is_file()
    assert "Tracks of walk" in answer.json["parts"]["deleted"]
    assert back(desk, key).json["focus"] == "deleted-title"
    assert {*made} <= {*names_in(folder)}


def test_what_was_deleted_comes_back_as_it_was(desk: Any, folder: Path) -> None:
    """With its track; while it is away nothing of it is on the shelf, and nothing else is touched."""
    without(folder, "evening.yaml", "series.yaml", "parts/part.yaml")
    made = write_track(folder / "walk.yaml")
    (folder / "walk.md").write_text("my notes", encoding="utf-8")
    before = everything(folder)
    answer = do(desk, "delete", "walk.yaml")
    assert answer.json["said"] == "Deleted: Walk. You can bring it back under “Deleted”."
    (key,) = put_away(folder)
    assert answer.json["focus"] == f"back/{key}"
    assert 'id="plan-walk.yaml"' not in answer.json["parts"]["plans"]
    assert names_in(folder / "deleted" / key) == sorted(["walk.yaml", *made])
    assert (folder / "walk.md").is_file()
    assert ask(desk, "GET", "/api/plan/walk.yaml").json["error"].startswith("there is no plan")
    assert f'data-of="{key}"' in ask(desk, "GET", "/").body.decode()
    answer = back(desk, key)
    assert (answer.json["said"], answer.json["focus"]) == ("Walk is back.", "open/walk.yaml")
    assert everything(folder) == before
    assert not (folder / "deleted").exists()
    assert ask(desk, "GET", "/api/plan/walk.yaml").status == 200


def test_what_was_deleted_names_a_plan_as_it_is_called_when_it_comes_back(desk: Any, folder: Path) -> None:
    """It puts in a plan that was renamed while it was away; while it is away it keeps none from going."""
    without(folder, "series.yaml", "parts/part.yaml", "morning.yaml")
    do(desk, "delete", "evening.yaml")
    do(desk, "rename", "walk.yaml", "Stroll")
    (key,) = put_away(folder)
    assert back(desk, key).status == 200
    text = (folder / "evening.yaml").read_text(encoding="utf-8")
    assert text == EVENING.replace("walk.yaml", "stroll.yaml")
    do(desk, "delete", "evening.yaml")
    assert do(desk, "delete", "stroll.yaml").status == 200


@pytest.mark.parametrize("act", ["rename", "delete"])
def test_a_plan_that_another_desk_has_just_moved_is_told_so(
    desk: Any, folder: Path, act: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the look at it and its turn: in words, not as the system says it, and nothing is left of it."""
    locked = keeping_module.folder_locked

    def late(home: Path) -> Any:
        (folder / "morning.yaml").unlink(missing_ok=True)
        return locked(home)

    monkeypatch.setattr(keeping_module, "folder_locked", late)
    answer = do(desk, act, "morning.yaml", "Dawn")
    assert (answer.status, answer.json["error"][:31]) == (400, "This was changed elsewhere mean")
    assert put_away(folder) == []
    assert not (folder / "dawn.yaml").exists()


def test_it_does_not_come_back_over_another(desk: Any, folder: Path) -> None:
    """A plan that has its name by now is not touched; a track that has stays, and the plan comes alone."""
    without(folder, "evening.yaml", "series.yaml", "parts/part.yaml")
    write_track(folder / "walk.yaml")
    do(desk, "delete", "walk.yaml")
    (key,) = put_away(folder)
    (folder / "walk.yaml").write_text("title: Another\n", encoding="utf-8")
    answer = back(desk, key)
    assert answer.status == 400
    assert answer.json["error"].startswith("there is 'walk.yaml' in this folder already")
    (folder / "walk.yaml").rename(folder / "other.yaml")
    (folder / "walk.m4a").write_bytes(b"mine")
    assert back(desk, key).status == 200
    assert (folder / "walk.m4a").read_bytes() == b"mine"
    assert (folder / "walk.yaml").read_text(encoding="utf-8") == WALK
    assert names_in(folder / "deleted" / key) == ["walk.m4a"]


def test_a_plan_that_others_use_is_not_deleted(desk: Any, folder: Path) -> None:
    """They are named by their titles: plans that put it in, those below, and series."""
    before = everything(folder)
    answer = do(desk, "delete", "walk.yaml")
    expected = "this plan is used by: Evening, Quays, Part; take it out there first"
    assert (answer.status, answer.json["error"]) == (400, expected)
    assert everything(folder) == before
    assert do(desk, "delete", "morning.yaml").status == 200


def test_a_series_is_no_broken_plan(desk: Any, folder: Path) -> None:
    """It is not on the shelf, and not offered to be put into a plan; a plan in its place is, at once."""
    shelf = ask(desk, "GET", "/").body.decode()
    assert 'id="plan-walk.yaml"' in shelf
    assert "series.yaml" not in shelf
    assert "series.yaml" not in json.dumps(ask(desk, "GET", "/api/plan/walk.yaml").json["parts"])
    (folder / "series.yaml").write_text(MORNING, encoding="utf-8")
    assert 'id="plan-series.yaml"' in ask(desk, "GET", "/").body.decode()


def test_a_track_that_two_plans_may_have_made_stays(desk: Any, folder: Path) -> None:
    """``legs.yaml`` and ``legs.yml`` have tracks of one name."""
    (folder / "morning.yml").write_text(MORNING, encoding="utf-8")
    made = write_track(folder / "morning.yaml")
    assert do(desk, "delete", "morning.yaml").status == 200
    assert {*made, "morning.yml"} <= {*names_in(folder)}


@pytest.mark.parametrize("act", ["rename", "delete"])
def test_nothing_is_moved_while_the_desk_is_at_work(
    desk: Any, folder: Path, act: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A track being made would get the old name; the work is named, and a copy needs no such thing."""
    answers: list[Answer] = []

    def at_work(*_: Any, **__: Any) -> None:
        answers.append(do(desk, act, "morning.yaml", "Dawn"))
        answers.append(do(desk, "copy", "morning.yaml", "Dawn"))
        raise OSError("ends here")

    monkeypatch.setattr("cuelane.desk.finishing.render_plan", at_work)
    post(desk, "/api/finish/morning.yaml/render", {"format": ".flac"})
    while ask(desk, "GET", "/api/job").json["status"] == "running":
        pass
    assert [one.status for one in answers] == [400, 200]
    assert "The desk is making the track of morning.yaml" in answers[0].json["error"]
    assert (folder / "morning.yaml").read_text(encoding="utf-8") == MORNING
    assert do(desk, act, "morning.yaml", "Noon").status == 200


class Killed(BaseException):
    """The desk ends here."""


@pytest.mark.parametrize("step", range(5))
def test_killed_at_any_step_of_a_renaming_each_plan_still_loads(
    desk: Any, folder: Path, step: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The title, three files that name it, the file itself: before each of them the desk is ended."""
    n_done = 0

    def killing(done: Callable[..., Any]) -> Callable[..., Any]:
        def killed(*args: Any, **more: Any) -> Any:
            nonlocal n_done
            if n_done == step:
                raise Killed
            n_done += 1
            return done(*args, **more)

        return killed

    monkeypatch.setattr(keeping_module, "_edit", killing(keeping_module._edit))
    monkeypatch.setattr(Path, "replace", killing(Path.replace))
    with pytest.raises(Killed):
        do(desk, "rename", "walk.yaml", "Stroll")
    for name in ("evening", "morning"):
        load_plan(folder / f"{name}.yaml")
    load_series(folder / "series.yaml")
    there = [path for path in (folder / "walk.yaml", folder / "stroll.yaml") if path.is_file()]
    assert there
    assert all(load_plan(path).plan.session for path in there)


def test_what_an_editor_writes_meanwhile_is_in_the_renamed_plan(
    desk: Any, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not only what the desk had read."""
    locked = keeping_module.folder_locked

    def late(home: Path) -> Any:
        if (folder / "stroll.yaml").exists() and (folder / "walk.yaml").exists():
            (folder / "walk.yaml").write_text(WALK + "  - rest: 45s\n", encoding="utf-8")
        return locked(home)

    monkeypatch.setattr(keeping_module, "folder_locked", late)
    assert do(desk, "rename", "walk.yaml", "Stroll").status == 200
    assert "rest: 45s" in (folder / "stroll.yaml").read_text(encoding="utf-8")
    assert not (folder / "walk.yaml").exists()


def test_a_plan_named_in_a_way_that_cannot_be_edited_keeps_its_name(desk: Any, folder: Path) -> None:
    """The file that names it is told, and nothing has been done, not even to the title."""
    odd = "title: Odd\nsession: &all [{include: walk.yaml},\n  # why\n  {rest: 5s}]\n"
    (folder / "odd.yaml").write_text(odd, encoding="utf-8")
    before = everything(folder)
    answer = do(desk, "rename", "walk.yaml", "Stroll")
    assert "'Odd' names this plan" in answer.json["error"]
    assert everything(folder) == before


@pytest.mark.parametrize("title", ["", " ", "x" * 81, "a\x07b", "a\u202eb", "a\ud800b"])
@pytest.mark.parametrize("act", ["copy", "rename"])
def test_what_can_be_no_title_changes_nothing(desk: Any, folder: Path, act: str, title: str) -> None:
    """It is refused in words."""
    before = everything(folder)
    answer = do(desk, act, "morning.yaml", title)
    assert answer.status in (400, 422)
    assert answer.json["error"]
    assert everything(folder) == before


@pytest.mark.parametrize(
    "name", ["..%2Fsecret.yaml", ".hidden.yaml", "parts", "no.yaml", "..:plan.yaml", "parts:plan.yaml"]
)
@pytest.mark.parametrize("act", ["copy", "rename", "delete"])
def test_no_other_file_is_reached(desk: Any, folder: Path, tmp_path: Path, act: str, name: str) -> None:
    """Above the folder, hidden, or no plan at all."""
    for path in (tmp_path / "secret.yaml", folder / ".hidden.yaml", tmp_path / "plan.yaml"):
        path.write_text(WALK, encoding="utf-8")
    before = everything(tmp_path)
    for one in (name, name.replace("%2F", "/")):
        assert do(desk, act, one, "Mine").status in (400, 404)
    assert everything(tmp_path) == before


def test_only_what_was_deleted_here_comes_back(desk: Any, folder: Path, tmp_path: Path) -> None:
    """No folder with another name, none above, no link in one, and none through a link."""
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "a.yaml").write_text(WALK, encoding="utf-8")
    home = folder / "deleted"
    good = home / "2026-01-02 03.04.05 a"
    (home / "mine").mkdir(parents=True)
    (home / "mine" / "a.yaml").write_text(WALK, encoding="utf-8")
    (home / "2026-01-02 03.04.06 b").symlink_to(outside)
    good.mkdir()
    (good / "b.yaml").symlink_to(outside / "a.yaml")
    before = everything(folder)
    for key in ("mine", "..", "../outside", "2026-01-02 03.04.06 b", good.name, ""):
        assert back(desk, key).status in (400, 404), key
    assert everything(folder) == before
    assert 'id="deleted-title"' not in ask(desk, "GET", "/").body.decode()


def test_nothing_is_put_away_through_a_link(desk: Any, folder: Path, tmp_path: Path) -> None:
    """A folder elsewhere would take it out of the person's sight."""
    (tmp_path / "outside").mkdir()
    (folder / "deleted").symlink_to(tmp_path / "outside")
    answer = do(desk, "delete", "morning.yaml")
    assert (answer.status, "something else is called so" in answer.json["error"]) == (400, True)
    assert (folder / "morning.yaml").is_file()
    assert names_in(tmp_path / "outside") == []


def test_a_plan_is_renamed_where_its_track_cannot_be_put_away(desk: Any, folder: Path) -> None:
    """The track stays where it is, and the answer is that of a renaming, not of a failure half way."""
    made = write_track(folder / "morning.yaml")
    (folder / "deleted").write_text("somebody's own file", encoding="utf-8")
    answer = do(desk, "rename", "morning.yaml", "Dawn")
    assert answer.json["said"] == "Renamed. Its file is called dawn.yaml now."
    assert {*made, "dawn.yaml"} <= {*names_in(folder)}
    assert (folder / "deleted").read_text(encoding="utf-8") == "somebody's own file"


def test_a_name_as_long_as_a_disk_takes_is_deleted_too(desk: Any, folder: Path) -> None:
    """The folder that it goes into has a date before it."""
    name = "ö" * 125 + ".yaml"
    (folder / name).write_text(WALK, encoding="utf-8")
    assert do(desk, "delete", name).status == 200
    (key,) = put_away(folder)
    assert back(desk, key).status == 200
    assert (folder / name).read_text(encoding="utf-8") == WALK


def test_a_plan_that_is_no_text_is_deleted_all_the_same(desk: Any, folder: Path) -> None:
    """It is shown as broken, and may be what somebody wants to be rid of."""
    (folder / "odd.yaml").write_bytes(b"\xff\xfe\x00\x01\x80")
    assert do(desk, "copy", "odd.yaml", "A").status == 404
    assert do(desk, "rename", "odd.yaml", "A").status == 404
    assert do(desk, "delete", "odd.yaml").status == 200


@pytest.fixture
def lesson(folder: Path) -> Path:
    """A class in its folder: its recording, its plan, a clip of it and a voice."""
    own = folder / "monday"
    (own / "clips").mkdir(parents=True)
    (own / "voices" / "mine").mkdir(parents=True)
    for name in ("Monday.wav", "clips/001.wav", "voices/mine/001.wav"):
        (own / name).write_bytes(b"sound of " + name.encode())
    note = {"recording": "Monday.wav", "captions": None, "plan": "walk.yaml"}
    (own / "class.json").write_text(json.dumps(note), encoding="utf-8")
    text = "title: Monday\nvoice: system\nsession:\n  - say: {text: Sit tall., clip: clips/001.wav}\n"
    (own / "plan.yaml").write_text(text, encoding="utf-8")
    return own


def test_a_class_follows_the_plan_that_was_renamed(desk: Any, folder: Path, lesson: Path) -> None:
    """The one that was followed in it."""
    do(desk, "rename", "walk.yaml", "Stroll")
    assert json.loads((lesson / "class.json").read_text(encoding="utf-8"))["plan"] == "stroll.yaml"


def test_the_plan_of_a_class_is_copied_with_its_clips(desk: Any, folder: Path, lesson: Path) -> None:
    """Into a folder of its own, without the recording; it is a plan like any other there."""
    answer = do(desk, "copy", "monday:plan.yaml", "Tuesday")
    assert answer.json == {"name": "tuesday:plan.yaml"}
    names = {"plan.yaml", "clips/001.wav", "voices/mine/001.wav"}
    assert {*everything(folder / "tuesday")} == names
    assert load_plan(folder / "tuesday" / "plan.yaml").plan.title == "Tuesday"
    assert 'id="plan-tuesday:plan.yaml"' in ask(desk, "GET", "/").body.decode()


@pytest.mark.parametrize("name", ["deleted", "voices"])
def test_a_class_is_not_called_as_a_folder_of_the_desk_is(desk: Any, folder: Path, name: str) -> None:
    """What is deleted, and what is recorded, would lie in it."""
    own = {"origin": "http://127.0.0.1:8318"}
    answer = ask(desk, "POST", f"/api/class/new?name={name}.wav", body=b"RIFF", headers=own)
    assert answer.json == {"name": f"class-{name}"}
    assert do(desk, "copy", "walk.yaml", name).json == {"name": f"{name}-2.yaml"}


def test_a_class_goes_and_comes_back_as_a_whole(desk: Any, folder: Path, lesson: Path) -> None:
    """Unless a plan outside plays one of its clips."""
    before = everything(folder)
    clip = "title: Uses\nsession:\n  - say: {text: Sit tall., clip: monday/clips/001.wav}\n"
    (folder / "uses.yaml").write_text(clip, encoding="utf-8")
    assert "used by: Uses;" in do(desk, "delete", "monday:plan.yaml").json["error"]
    (folder / "uses.yaml").unlink()
    assert do(desk, "delete", "monday:plan.yaml").json["said"].startswith("Deleted: Monday.")
    assert not lesson.exists()
    (key,) = put_away(folder)
    assert back(desk, key).json["focus"] == "open/monday:plan.yaml"
    assert everything(folder) == before


def test_a_class_is_renamed_with_its_folder(desk: Any, folder: Path, lesson: Path) -> None:
    """All that lies in it stays, its steps can be taken back, and its old name is answered."""
    number = ask(desk, "GET", "/api/plan/monday:plan.yaml").json["number"]
    post(desk, "/api/plan/monday:plan.yaml/text", {"text": TITLED.format("Mon"), "number": number})
    before = everything(lesson)
    answer = do(desk, "rename", "monday:plan.yaml", "Sunday: long")
    assert (answer.json["said"], answer.json["focus"]) == (
        "Renamed. Its folder is called sunday-long now.", "acts/sunday-long:plan.yaml"
    )  # fmt: skip
    assert not lesson.exists()
    now = everything(folder / "sunday-long")
    assert {name: data for name, data in now.items() if name != "plan.yaml"} == {
        name: data for name, data in before.items() if name != "plan.yaml"
    }
    assert load_plan(folder / "sunday-long" / "plan.yaml").plan.title == "Sunday: long"
    post(desk, "/api/plan/sunday-long:plan.yaml/undo", {})
    assert load_plan(folder / "sunday-long" / "plan.yaml").plan.title == "Mon"
    told = ask(desk, "GET", "/api/plan/monday:plan.yaml").json["error"]
    assert "'sunday-long:plan.yaml' now" in told
    assert ask(desk, "GET", "/class/sunday-long").status == 200


@pytest.mark.parametrize(
    "text",
    [
        "title: Uses\nsession:\n  - say: {text: Sit tall., clip: monday/clips/001.wav}\n",
        "title: Uses\nsession:\n  - include: monday/plan.yaml\n",
        "title: Uses\nplans: [monday/plan.yaml]\n",
    ],
)
def test_a_class_that_others_use_gets_the_title_alone(
    desk: Any, folder: Path, lesson: Path, text: str
) -> None:
    """What a plan or a series names is found there still."""
    (folder / "uses.yaml").write_text(text, encoding="utf-8")
    assert do(desk, "rename", "monday:plan.yaml", "Sunday").json["focus"] == "acts/monday:plan.yaml"
    assert load_plan(lesson / "plan.yaml").plan.title == "Sunday"


@pytest.mark.parametrize("seed", range(3))
def test_whatever_is_done_no_plan_is_lost_and_none_broken(tmp_path: Path, seed: int) -> None:
    """Two desks on one folder, eighty steps: each plan is somewhere, and what the folder shows loads."""
    chance, home = random.Random(seed), tmp_path / "plans"
    home.mkdir()
    desks = [application(home, ClipStore(tmp_path / name)) for name in "ab"]
    for n in range(6):
        include = f"  - include: plan-{n - 1}.yaml\n" if n % 2 else ""
        text = f"# plan number {n}\ntitle: Plan {n}\nvoice: system\nsession:\n{include}  - rest: 30s\n"
        (home / f"plan-{n}.yaml").write_text(text, encoding="utf-8")
    done = dict.fromkeys(("copy", "rename", "delete", "back"), 0)
    for _ in range(80):
        act, desk = chance.choice([*done, "rename"]), chance.choice(desks)
        found = put_away(home) if act == "back" else sorted(path.name for path in home.glob("*.yaml"))
        if not found or (act == "copy" and len(found) > 12):
            continue
        name = chance.choice(found)
        title = f"Title {chance.randrange(8)}"
        answer = back(desk, name) if act == "back" else do(desk, act, name, title)
        assert answer.status in (200, 400), answer.body
        done[act] += answer.status == 200
        away = {path.name for path in home.glob("deleted/*/*.yaml")}
        for path in home.glob("*.yaml"):
            # One that came back may put in another that is still away, and comes back under that name.
            named = re.findall(r"include: (\S+)", path.read_text(encoding="utf-8"))
            assert {*named} <= {*names_in(home), *away}, (path.name, act)
            if not {*named} & away:
                load_plan(path)
    assert all(done.values()), done
    kept = "".join(path.read_text(encoding="utf-8") for path in home.rglob("*.yaml"))
    assert [n for n in range(6) if f"# plan number {n}\n" not in kept] == []
