"""A batch: what it is asked for, what it keeps, and that one failure ends nothing else."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path, PurePath, PurePosixPath, PureWindowsPath

import pytest
from distributed import Client

from cuelane.base.errors import PlanError, UsageError
from cuelane.base.schedule import load_schedule
from cuelane.batch import cluster as clusters
from cuelane.batch import far_folder, jobs_made, one_track, records
from cuelane.batch.cluster import on_cluster, sent_along
from cuelane.batch.jobs_made import Order, Outcome, carried_out
from cuelane.batch.run import orders_of, render_options, run_batch
from cuelane.batch.tracks import Asked, notes_on, plan_files, tracks
from cuelane.cli.app import run
from cuelane.plan.series import load_series
from cuelane.plan.source_text import MAX_FILE_BYTES
from cuelane.speech.recorded import MAX_CLIPS
from dask_clusters import local_cluster

PLAN = """\
title: {title}
voice: system
cautions: none
lead_in: 0
closing: false
session:
  - block: Main
    pattern: circuit
    work: 8s
    rest: 3s
    rounds: 2
    exercises: [squat]
exercises:
  squat: {{setup: "{line}"}}
variants:
  once: {{title: {title} once, rounds: 1}}
"""
SERIES = """\
title: Slipway winter
plans: [one.yaml, two.yaml]
defaults: {{format: {formats}}}
variants:
  slow: {{pace: 0.9}}
"""


def write(folder: Path, name: str, line: str = "Sit down.") -> Path:
    path = folder / f"{name}.yaml"
    path.write_text(PLAN.format(title=name.title(), line=line), encoding="utf-8")
    return path


def series_of(folder: Path, formats: str = "wav") -> Path:
    write(folder, "one")
    write(folder, "two")
    path = folder / "series.yaml"
    path.write_text(SERIES.format(formats=formats), encoding="utf-8")
    return path


def test_the_tracks_are_plans_by_variants_voices_and_formats(tmp_path: Path) -> None:
    """In order; a folder for each format, a voice in the name only where there are several."""
    series = load_series(series_of(tmp_path))
    plans = plan_files([], series)
    assert [path.name for path in plans] == ["one.yaml", "two.yaml"]
    found = tracks(plans, series, Asked(formats=("wav", "mp3"), voices=("system", "natural")))
    assert len(found) == 2 * 2 * 2 * 2
    assert [one.name + one.suffix for one in found[:5]] == [
        "wav/one-system.wav",
        "mp3/one-system.mp3",
        "wav/one-natural.wav",
        "mp3/one-natural.mp3",
        "wav/one-slow-system.wav",
    ]
    few = tracks(plans, series, Asked(formats=(".WAV",), variants=("once",)))
    assert [(one.name, one.suffix, one.variant.name if one.variant else "") for one in few] == [
        ("one-once", ".wav", "once"),
        ("two-once", ".wav", "once"),
    ]
    twice = tracks(plans, None, Asked(formats=("flac", " .FLAC")))
    assert [one.name + one.suffix for one in twice] == ["one.flac", "two.flac"]
    with pytest.raises(UsageError, match="there is no format 'xyz'; choose m4a, mp3, opus, flac or wav"):
        tracks(plans, None, Asked(formats=("m4a", "xyz")))


@pytest.mark.parametrize("given", ["/plans/a*.yaml", "a*.yaml", "//host/share/a*", "../a*/b", "/*"])
@pytest.mark.parametrize("system", [PurePosixPath, PureWindowsPath])
def test_no_pattern_is_absolute_once_taken_from_its_anchor(system: type[PurePath], given: str) -> None:
    """Nor one with a drive, with a root or without; so pathlib is not asked for what it refuses."""
    for path in (
        system(given),
        system("C:" + given),
        system("C:\\" + given),
        system("\\\\host\\share\\" + given),
    ):
        assert path.relative_to(path.anchor).anchor == ""


def test_a_folder_and_a_star_stand_for_plans(tmp_path: Path) -> None:
    """None twice, the series file not among them."""
    series = load_series(series_of(tmp_path))
    names = ["one.yaml", "two.yaml"]
    assert [path.name for path in plan_files([tmp_path, tmp_path / "one.yaml"], series)] == names
    assert [path.name for path in plan_files([tmp_path / "t*.yaml"], None)] == ["two.yaml"]
    # The series file that lies beside its plans is none, named or not.
    assert [path.name for path in plan_files([tmp_path], None)] == names
    with pytest.raises(UsageError, match="fits no plan"):
        plan_files([tmp_path / "x*.yaml"], None)
    # One that this Python's pathlib cannot follow (up to 3.12), or that fits nothing.
    with pytest.raises(UsageError, match=r"x\*\*y\.yaml: (is no pattern of file names: .|fits no plan)"):
        plan_files([tmp_path / "x**y.yaml"], None)
    (tmp_path / "empty").mkdir()
    with pytest.raises(UsageError, match="holds no plan"):
        plan_files([tmp_path / "empty"], None)
    with pytest.raises(UsageError, match="name at least one plan"):
        plan_files([], None)


def test_a_file_too_large_for_a_plan_is_not_read_to_see_what_it_is(tmp_path: Path) -> None:
    """It is taken for a plan by its ending; that no plan is so large is said when it is made."""
    plan = write(tmp_path, "one")
    (tmp_path / "large.yaml").write_text("plans: [one.yaml]\n" + "#" * MAX_FILE_BYTES, encoding="utf-8")
    assert plan_files([tmp_path], None) == [tmp_path / "large.yaml", plan]


def test_two_tracks_of_one_name_are_refused(tmp_path: Path) -> None:
    """Case counts for nothing: some disks do not tell one from the other."""
    (tmp_path / "more").mkdir()
    plans = [write(tmp_path, "one"), write(tmp_path / "more", "ONE")]
    with pytest.raises(UsageError, match=r"would both make ONE\.m4a; rename one"):
        tracks(plans, None, Asked())


def test_a_variant_that_no_plan_has_is_refused(tmp_path: Path) -> None:
    """The nearest name is offered; one that only some plans have passes over the others."""
    one = write(tmp_path, "one")
    bare = tmp_path / "bare.yaml"
    bare.write_text(one.read_text(encoding="utf-8").partition("variants:")[0], encoding="utf-8")
    with pytest.raises(UsageError, match="did you mean 'once'"):
        tracks([one], None, Asked(variants=("onec",)))
    assert [track.name for track in tracks([one, bare], None, Asked(variants=("once",)))] == ["one-once"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("title: A\nplans: [x.yaml]\n", ":2:9: plans: there is no file 'x.yaml'"),
        ("title: A\nplans:\n  - x.yaml\n  - y.yaml\n", ":4:5: plans: there is no file 'y.yaml'"),
        ("title: A\nartwork: x.png\n", ":2:10: artwork: there is no file 'x.png'"),
        (
            "title: A\nlanguage: xx\n",
            "language: xx\n    ^\n    there are: de, en, es, fr, it, pt-BR",
        ),
        ("title: A\nplans: [../x.yaml]\n", "lies outside the plan's folder"),
        ("title: A\nfeed: {email: nobody}\n", ":2:15: email: expected an e-mail address, but got 'nobody'"),
        (
            "title: A\naddress: ftp://x\n",
            ":2:10: address: expected an address such as https://example.org/winter/",
        ),
        ("title: A\ndefaults: {formt: mp3}\n", "unknown key 'formt' in defaults\n"),
        ("title: A\nvariants: {short: {rounds: 0}}\n", "rounds: expected a number from 1 to 100, but got 0"),
        ("- a\n", "a series is made of keys such as title and plans"),
        ("plans: []\n", "a series needs 'title', which is missing"),
    ],
)
def test_a_wrong_series_is_told_with_its_place(tmp_path: Path, text: str, message: str) -> None:
    """As a plan is."""
    path = tmp_path / "series.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PlanError) as caught:
        load_series(path)
    assert message in str(caught.value)


def batch(*arguments: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, dict[str, str], str]:
    """Run the command; return its exit code, the state of each track, and all messages."""
    code = run(["batch", *arguments, "--json"])
    told = json.loads(capsys.readouterr().out)
    messages = "\n".join(one.get("message", "") for one in told["tracks"])
    states = {one["name"]: one["state"] for one in told["tracks"]}
    assert {state: list(states.values()).count(state) for state in ("made", "kept", "failed")} == {
        state: told[state] for state in ("made", "kept", "failed")
    }
    return code, states, messages


def test_only_what_must_be_made_is_made_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A changed line makes the tracks that speak it; a changed comment, and nothing at all, make none.

    A file that is gone or was changed makes its track again; a broken plan fails alone, with 1.
    """
    write(tmp_path, "one")
    write(tmp_path, "two")
    out = tmp_path / "out"
    every = [str(tmp_path / "one.yaml"), str(tmp_path / "two.yaml"), "--out", str(out), "-f", "wav"]
    assert batch(*every, capsys=capsys)[:2] == (0, {"one": "made", "two": "made"})
    sound = (out / "one.wav").read_bytes()
    assert batch(*every, capsys=capsys)[:2] == (0, {"one": "kept", "two": "kept"})

    plan = write(tmp_path, "one")
    plan.write_text("# A word.\n" + plan.read_text(encoding="utf-8"), encoding="utf-8")
    write(tmp_path, "two", "Sit down slowly.")
    inode = (out / "one.wav").stat().st_ino
    assert batch(*every, capsys=capsys)[:2] == (0, {"one": "kept", "two": "made"})
    assert (out / "one.wav").stat().st_ino == inode
    assert "Sit down slowly." in {cue.text for cue in load_schedule(out / "two.schedule.json").cues}

    (out / "one.vtt").unlink()
    (tmp_path / "two.yaml").write_text("title: Two\nsesion: []\n", encoding="utf-8")
    code, states, messages = batch(*every, capsys=capsys)
    assert (code, states) == (1, {"one": "made", "two": "failed"})
    assert "two.yaml:2:1: unknown key 'sesion' in a plan" in messages
    assert (out / "one.vtt").is_file()
    assert (out / "one.wav").read_bytes() == sound
    # What was made before stays until there is something better.
    assert (out / "two.wav").is_file()


def test_formats_made_one_after_the_other_leave_each_other_alone(tmp_path: Path) -> None:
    """They share what lies beside them; it is made again where it is gone, or was of another session."""
    plan = write(tmp_path, "one")

    def made(ending: str) -> str:
        asked = tracks([plan], None, Asked(formats=(ending,), variants=("plain",)))
        (order,) = orders_of(asked, tmp_path / "out", {}, force=False)
        return one_track.made(order).state

    assert [made(ending) for ending in ("wav", "flac", "wav", "flac")] == ["made", "made", "kept", "kept"]
    (tmp_path / "out" / "one.vtt").unlink()
    assert [made(ending) for ending in ("wav", "flac")] == ["made", "kept"]
    write(tmp_path, "one", "Sit down slowly.")
    assert [made(ending) for ending in ("flac", "wav", "flac")] == ["made", "made", "kept"]
    (tmp_path / "out" / "one.wav").write_bytes(b"mine")
    assert made("wav") == "failed"


def test_formats_in_one_folder_made_otherwise_are_told(tmp_path: Path) -> None:
    """What lies beside them goes with the latest; where that is another session, the other track is named.

    Loudness and subtitles change no session: each is kept then, and the subtitles stay while one wants them.
    """
    plan, out = write(tmp_path, "one"), tmp_path / "out"

    def made(ending: str, **options: object) -> Outcome:
        asked = tracks([plan], None, Asked(formats=(ending,), variants=("plain",)))
        (order,) = orders_of(asked, out, options, force=False)
        return one_track.made(order)

    quiet = {"subtitles": True, "loudness_lufs": -20.0}
    told = [made("wav", **quiet), made("flac"), made("wav", **quiet), made("flac")]
    assert [one.state for one in told] == ["made", "made", "kept", "kept"]
    assert {one.message for one in told} == {""}
    assert (out / "one.srt").is_file()

    slow = made("flac", pace=0.8)
    assert slow.state == "made"
    assert slow.message.startswith(
        "one.wav beside it was made from another version of the plan, or with other"
    )
    assert json.loads((out / "one.schedule.json").read_text(encoding="utf-8"))["audio"] == "one.flac"
    assert (out / "one.wav").is_file()
    # The same way for both: nothing more to tell, and subtitles that nobody wants any more are gone.
    assert [(one.state, one.message) for one in (made("wav", pace=0.8), made("flac", pace=0.8))] == [
        ("made", ""),
        ("kept", ""),
    ]
    assert not (out / "one.srt").exists()


def test_a_file_of_somebody_else_is_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is told, with the way to replace it; nothing of the track is written."""
    plan = write(tmp_path, "one")
    (tmp_path / "one.md").write_text("# my own notes\n", encoding="utf-8")
    code, states, messages = batch(str(plan), "--out", str(tmp_path), "-f", "wav", capsys=capsys)
    assert (code, states) == (1, {"one": "failed"})
    assert "one.md: there is a file already, and it was not written by cuelane" in messages
    assert "--force" in messages
    assert sorted(path.name for path in tmp_path.glob("one.*")) == ["one.md", "one.yaml"]
    assert (tmp_path / "one.md").read_text(encoding="utf-8") == "# my own notes\n"


def test_a_process_that_is_killed_takes_only_its_track_with_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is told which signal ended it, and what to do."""
    killed = f"import os; os.kill(os.getpid(), {int(signal.SIGKILL if sys.platform != 'win32' else 9)})"
    monkeypatch.setattr(jobs_made, "CHILD", killed)
    outcome = carried_out(Order("one", ".wav", "one.yaml", str(tmp_path)))
    assert (outcome.state, outcome.code) == ("failed", 3)
    assert "the process that made it " in outcome.message
    assert sys.platform == "win32" or "was ended by SIGKILL; run the batch again" in outcome.message
    monkeypatch.setattr(jobs_made, "CHILD", "raise SystemError('no')")
    outcome = carried_out(Order("one", ".wav", "one.yaml", str(tmp_path)))
    assert outcome.message == "the process that made it ended with 1; run the batch again. SystemError: no"


def test_a_child_ends_when_nobody_waits_for_it() -> None:
    """Even in the middle of a track: its standard input ends when its parent dies, however that dies."""
    program = (
        "import sys, time; from cuelane.batch.makers import requests; print(next(requests()));"
        "sys.stdout.flush(); time.sleep(600)"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as child:
        assert child.stdin is not None
        assert child.stdout is not None
        child.stdin.write(b"one\n")
        child.stdin.flush()
        assert child.stdout.readline().strip() == b"b'one'"
        child.stdin.close()
        assert child.wait(timeout=300) != 0


@pytest.fixture
def cluster() -> Iterator[str]:
    """A Dask scheduler with one worker, in this process, its dashboard off."""
    with local_cluster(processes=False) as made:
        yield made.scheduler_address


def test_a_cluster_makes_the_same_bytes(tmp_path: Path, cluster: str) -> None:
    """Its worker sees the folder of results and not the plans, which are sent; a broken plan fails alone."""
    plan, broken = write(tmp_path, "one"), tmp_path / "broken.yaml"
    broken.write_text("title: 3\n", encoding="utf-8")
    found = tracks([plan, broken], None, Asked(formats=("wav",), variants=("plain",)))
    (own,) = orders_of(tracks([plan], None, Asked(variants=("once",))), tmp_path, {}, force=False)
    assert set(sent_along(own).sent or {}) == {"one.yaml"}
    ends = {}
    for name, address in (("here", None), ("there", cluster)):
        out = tmp_path / name
        out.mkdir()
        orders = orders_of(found, out, {}, force=False)
        ends[name] = run_batch(orders, cluster=address, workers=1, progress=lambda done, total: None)
    assert [one.state for one in ends["there"]] == ["made", "failed"]
    assert "broken.yaml:1:8: title" in ends["there"][1].message
    for path in (tmp_path / "here").glob("one.*"):
        assert path.read_bytes() == (tmp_path / "there" / path.name).read_bytes(), path.name
    orders = orders_of(found[:1], tmp_path / "there", {}, force=False)
    again = run_batch(orders, cluster=None, workers=1, progress=lambda done, total: None)
    assert [one.state for one in again] == ["kept"]


def at_once(order: Order) -> Outcome:
    """Stand in for the making of a track."""
    return Outcome(order.name, "made")


def test_a_cluster_without_workers_is_told_of_once_and_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever waits learns that nobody works; when a worker comes, the orders are carried out."""
    orders = [Order(name, ".wav", str(write(tmp_path, name)), str(tmp_path)) for name in ("one", "two")]
    monkeypatch.setattr(clusters, "NO_WORKER_S", 0.05)
    monkeypatch.setattr(clusters, "carried_out", lambda order: Outcome(order.name, "made"))
    notices: list[str] = []
    with local_cluster(0, processes=False) as made:

        def noticed(text: str) -> None:
            notices.append(text)
            made.scale(1)

        ends = list(on_cluster(orders, made.scheduler_address, lambda: None, noticed))
    assert {outcome.name for _, outcome in ends} == {"one", "two"}
    (notice,) = notices
    assert notice.startswith(f"{made.scheduler_address}: the cluster has no worker now, so 2 tracks wait")


def test_a_cluster_is_sent_only_so_many_orders_at_once(
    tmp_path: Path, cluster: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many there are, and every one is made, one by one as others are done; a broken one fails."""
    plan, broken = write(tmp_path, "one"), tmp_path / "broken.yaml"
    broken.write_text("title: 3\n", encoding="utf-8")
    orders = [Order(f"one{number}", ".wav", str(plan), str(tmp_path)) for number in range(25)]
    orders[3] = Order("broken", ".wav", str(broken), str(tmp_path))
    sent, done, most = 0, 0, 0

    def counted(order: Order) -> Order:
        nonlocal sent, most
        found = sent_along(order)
        sent += 1
        most = max(most, sent - done)
        return found

    def told() -> None:
        nonlocal done
        done += 1

    monkeypatch.setattr(clusters, "_FEWEST", 4)
    monkeypatch.setattr(clusters, "_PER_THREAD", 3)
    monkeypatch.setattr(clusters, "carried_out", at_once)
    monkeypatch.setattr(clusters, "sent_along", counted)
    ends = list(on_cluster(orders, cluster, told, print))
    assert (len(ends), done, sent) == (25, 25, 24)
    assert {order.name for order, end in ends if end.state != "made"} == {"broken"}
    assert all(order.name == end.name for order, end in ends)
    assert most <= 4
    with Client(cluster, set_as_default=False) as client:
        monkeypatch.setattr(clusters, "_PER_THREAD", 7)
        assert clusters.most_sent(client) == 7


def test_an_order_that_was_sent_needs_no_plan_on_the_other_machine(tmp_path: Path) -> None:
    """The plan, a voice beside it and that voice's fallback are laid out from what was sent."""
    plan = write(tmp_path, "one")
    text = plan.read_text(encoding="utf-8").replace("once: {", "once: {voice: mine, ")
    plan.write_text(text, encoding="utf-8")
    (tmp_path / "voices").mkdir()
    (tmp_path / "voices" / "mine.toml").write_text('engine = "system"\npace = 0.9\n', encoding="utf-8")
    out = tmp_path / "out"
    out.mkdir()
    (order,) = orders_of(
        tracks([plan], None, Asked(formats=("wav",), variants=("once",))), out, {}, force=False
    )
    sent = sent_along(order)
    assert set(sent.sent or {}) == {"one.yaml", "voices/mine.toml"}
    for path in (plan, tmp_path / "voices" / "mine.toml"):
        path.unlink()
    outcome = carried_out(sent)
    assert outcome.state == "made", outcome.message
    assert load_schedule(out / "one-once.schedule.json").extra["voice"]["name"] == "mine"


def test_a_module_in_the_current_folder_is_not_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder of plans may come from a stranger; only the program's own modules are imported."""
    (tmp_path / "json.py").write_text("raise SystemExit('a stranger was here')\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    outcome = carried_out(Order("no", ".wav", str(tmp_path / "no.yaml"), str(tmp_path)))
    assert "there is no such file" in outcome.message


def test_what_a_variant_says_counts_before_what_is_usual(tmp_path: Path) -> None:
    """A series' usual voice and pace are for what does not say otherwise; the command's voice is not."""
    path = series_of(tmp_path)
    usual = "defaults: {format: wav, voice: natural, pace: 0.9}"
    text = path.read_text(encoding="utf-8").replace("defaults: {format: wav}", usual)
    path.write_text(text.replace("slow: {pace: 0.9}", "slow: {pace: 1.1, voice: system}"), encoding="utf-8")
    series = load_series(path)
    plans = plan_files([], series)[:1]
    for usual_voices, voice in ((True, None), (False, "natural")):
        found = tracks(
            plans, series, Asked(voices=("natural",), variants=("slow",), usual_voices=usual_voices)
        )
        (order,) = orders_of(found, tmp_path, {"pace": 0.9, "for_music": False}, force=False)
        assert order.options == {"for_music": False, "voice": voice}


@pytest.mark.parametrize(("given", "pace"), [("", None), ("pace: 1.0", 1.0), ("pace: 0.9", 0.9)])
def test_a_series_without_a_pace_leaves_it_to_the_variant(
    tmp_path: Path, given: str, pace: float | None
) -> None:
    """What it does not say is not passed on as if it had been asked for."""
    path = tmp_path / "series.yaml"
    path.write_text(f"title: A\ndefaults: {{{given}}}\n", encoding="utf-8")
    assert render_options(load_series(path).series.defaults).get("pace") == pace


def test_a_variant_of_a_series_that_names_nothing_is_refused(tmp_path: Path) -> None:
    """An exercise that was to be left out is not heard because of a slip of the pen."""
    path = series_of(tmp_path)
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("slow: {pace: 0.9}", "slow: {leave_out: squats}"), encoding="utf-8")
    series = load_series(path)
    with pytest.raises(
        UsageError, match=r"\.yaml:\d+:\d+: variant 'slow' names 'squats', .* did you mean 'squat'"
    ):
        tracks(plan_files([], series), series, Asked())


@pytest.mark.parametrize("given", ["{}", "{cycles: 5}", "{work: 8s}"])
def test_a_variant_that_changes_no_plan_is_noted(tmp_path: Path, given: str) -> None:
    """Nothing given, what no block has, or what each has already; another is not noted."""
    path = series_of(tmp_path)
    text = path.read_text(encoding="utf-8").replace("{pace: 0.9}", given)
    path.write_text(text + "  other: {title: Other}\n", encoding="utf-8")
    series = load_series(path)
    (noted,) = notes_on(tracks(plan_files([], series), series, Asked()), series)
    n_line = text[: text.index("slow:")].count("\n") + 1
    assert noted.startswith(f"{path}:{n_line}:")
    assert noted.endswith("variant 'slow' changes nothing in any of these plans")
    only = Asked(variants=("plain", "other"))
    assert notes_on(tracks(plan_files([], series), series, only), series) == []


def test_another_usual_voice_makes_a_track_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a plan names no voice, and a better one for its language is there now; not where it names one."""
    plan = write(tmp_path, "one")
    bare = tmp_path / "bare.yaml"
    text = plan.read_text(encoding="utf-8").replace("voice: system\n", "language: de\n")
    bare.write_text(text.replace("Sit down.", "Setz dich hin."), encoding="utf-8")
    order, other = orders_of(
        tracks([bare, plan], None, Asked(formats=("wav",), variants=("plain",))), tmp_path, {}, force=False
    )
    assert [one_track.made(one).state for one in (order, other)] == ["made", "made"]
    record = records.read_record(order.record)
    assert record is not None
    assert record.usual_voice == ["de", "system-de"]
    assert records.is_current(record, bare, order.options_text())
    monkeypatch.setattr(records, "default_voice", lambda language: "natural")
    assert not records.is_current(record, bare, order.options_text())
    named = records.read_record(other.record)
    assert named is not None
    assert named.usual_voice == []
    assert records.is_current(named, plan, other.options_text())


def test_a_record_that_is_damaged_counts_for_nothing(tmp_path: Path) -> None:
    """The track is made again rather than trusted."""
    path = tmp_path / "record.json"
    assert records.read_record(path) is None
    whole = json.dumps(asdict(records.Record("p", "{}", {}, "b", {}, 1, ["en", "natural"])))
    path.write_text(whole, encoding="utf-8")
    assert records.read_record(path) is not None
    for text in ("", "[]", '{"program": 1}', "[" * 5000, whole.replace('"natural"', "3")):
        path.write_text(text, encoding="utf-8")
        assert records.read_record(path) is None


def test_a_record_holds_every_name_and_the_largest_voices(tmp_path: Path) -> None:
    """A name may be no text (PEP 383), and a voice have 10,000 recordings of long names."""
    (order,) = orders_of(
        tracks([write(tmp_path, "one")], None, Asked(formats=("wav",), variants=("plain",))),
        tmp_path / "out",
        {},
        force=False,
    )
    digest = "sha256:" + "0" * 64
    names = ["voices/mine/caf\udce9.wav"]
    names += [f"voices/{who}/{n:05d}-{'x' * 50}.wav" for who in ("mine", "hers") for n in range(MAX_CLIPS)]
    record = records.Record("p", "{}", dict.fromkeys(names, digest), "b", {}, 1)
    order.track.parent.mkdir()
    one_track.write_record(order, record)
    assert records.read_record(order.record) == record
    assert records.record_from(far_folder._text(record)) == record


def test_the_program_counts(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A record by another version of this program is not current; by this one it is."""
    plan = write(tmp_path, "one")
    inputs = records.digests([plan], tmp_path)
    record = records.Record(records.program_digest(), "{}", inputs, "", {}, 1)
    assert records.is_current(record, plan, "{}")
    assert not records.is_current(record, plan, '{"pace": 0.9}')
    (tmp_path / "voices").mkdir()
    (tmp_path / "voices" / "system.toml").write_text("x", encoding="utf-8")
    assert not records.is_current(record, plan, "{}")
    (tmp_path / "voices" / "system.toml").unlink()
    monkeypatch.setattr(records, "program_digest", lambda: "sha256:other")
    assert not records.is_current(record, plan, "{}")
