"""The whole job at the desk, from an empty folder to a phone, in one go and by keyboard alone.

Composed, recorded with a microphone that plays a file, heard, made, checked, and fetched over the second
listener; then the command line makes the same bytes of the same plan.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urljoin

import pytest
from by_keyboard import Keyboard
from devtools import Browser, Page
from opened_desk import Desk, follow
from test_booth_in_chromium import studio

from cuelane.base.errors import UsageError
from cuelane.desk.handoff import local_address
from cuelane.plan.load import load_plan

__all__ = ["studio"]

# Whatever the desk's own process asks of the network is written down. A datagram socket that is "connected"
# sends nothing: it is how the desk learns this computer's own address.
_WATCHED = """\
import socket, sys
def watch(event, values):
    if event == "socket.connect" and values[0].family in (socket.AF_INET, socket.AF_INET6):
        if values[0].type == socket.SOCK_STREAM and values[1][0] != "127.0.0.1":
            print("connects to", values[1], file=sys.stderr, flush=True)
    if event == "socket.getaddrinfo" and values[0] not in (None, "127.0.0.1", "localhost"):
        print("looks up", values[0], file=sys.stderr, flush=True)
sys.addaudithook(watch)
from cuelane.cli import main
main()
"""


@dataclass
class Walk:
    """A desk on an empty folder, a person with a keyboard at it, and what axe found."""

    desk: Desk
    keyboard: Keyboard
    browser: Browser
    axe: str = field(default_factory=lambda: os.environ.get("CUELANE_AXE", ""))
    found: dict[str, object] = field(default_factory=dict)

    @property
    def page(self) -> Page:
        return self.desk.page

    @property
    def plan(self) -> Path:
        return self.desk.folder / "pier-morning.yaml"

    def arrived(self, path: str) -> None:
        self.page.wait(f"location.pathname === '{path}' && document.readyState === 'complete'")

    def holds(self, text: str) -> None:
        """Wait until the plan file holds a text."""
        self.desk.until(lambda: text in self.plan.read_text(encoding="utf-8"))

    def look(self, name: str, page: Page | None = None) -> None:
        """Look at a view with axe-core, small and large, light and dark, without touching the focus."""
        page = page or self.page
        for width in (360, 1440):
            for scheme in ("light", "dark") if self.axe else ():
                page.media(scheme)
                page.call(
                    "Emulation.setDeviceMetricsOverride",
                    width=width,
                    height=1000,
                    deviceScaleFactor=1,
                    mobile=False,
                )
                rows = page.violations(Path(self.axe))
                wide = page.run("document.documentElement.scrollWidth")
                if rows or wide > width:
                    self.found[f"{name}, {width} px, {scheme}"] = (rows, wide)
        page.media("light")

    def clean(self) -> None:
        """See that nothing was complained of so far, by the console or by axe, and nothing sent elsewhere."""
        assert self.page.complaints_of_console() == []
        asked = [row for row in self.page.complaints() if row.startswith("request:")]
        assert asked, "requests are seen at all"
        own = (f"request: {self.desk.address}/", f"request: blob:{self.desk.address}/")
        assert [row for row in asked if not row.startswith(own)] == []
        assert self.found == {}


@pytest.fixture
def walk(studio: Browser, tmp_path: Path) -> Iterator[Walk]:
    """A desk whose process is watched, at the shelf of an empty folder."""
    folder = tmp_path / "plans"
    folder.mkdir()
    told = tmp_path / "told.txt"
    command = [sys.executable, "-c", _WATCHED, "desk", str(folder), "--no-open"]
    with (
        told.open("w", encoding="utf-8") as errors,
        subprocess.Popen(command, stdout=subprocess.PIPE, stderr=errors, text=True) as running,
    ):
        try:
            assert running.stdout is not None
            link = running.stdout.readline().strip()
            desk = follow(studio, link, folder)
            yield Walk(desk, Keyboard(desk.page), studio)
        finally:
            running.terminate()
            running.communicate(timeout=60)
    assert told.read_text(encoding="utf-8") == "", (
        "the desk itself asks nothing of the network, and is silent"
    )


def test_from_nothing_to_a_phone(walk: Walk, tmp_path: Path) -> None:
    """Every step by keys, nothing lost, nothing sent anywhere, the same bytes by the command line.

    Every view is looked at by axe-core too where CUELANE_AXE names it (see the tests of the views).
    """
    walk.look("shelf")
    compose(walk)
    edit_meanwhile_in_an_editor(walk)
    record_five_cues(walk)
    hear_from_three_places(walk)
    track = make(walk)
    same_bytes_by_the_command_line(walk, track, tmp_path / "again")
    walk.clean()
    fetch_as_a_phone(walk, track)
    walk.clean()


def compose(walk: Walk) -> None:
    """Start a plan and make it one's own: other exercises, times, words, voice, and order."""
    keyboard, page = walk.keyboard, walk.page
    keyboard.fill("input[name=title]", "Pier morning")
    keyboard.choose("select[name=pattern]", "circuit")
    keyboard.push("button.main")
    walk.arrived("/plan/pier-morning.yaml")
    page.wait("!!document.querySelector('#score .staff')")
    keyboard.fill("[id='f/voice']", "system")
    page.press("Enter")
    walk.holds("voice: system")
    for key, value in (("work", "20s"), ("rest", "14s"), ("rounds", "1")):
        keyboard.fill(f"[id='f/session/0/{key}']", value)
        page.press("Enter")
        walk.holds(f"{key}: {value}")
    keyboard.fill("#new-exercise", "seal push")
    page.press("Enter")
    walk.holds("seal push:")
    keyboard.fill("[id='f/exercises/seal push/setup']", "Lie on your front, hands under your shoulders.")
    page.press("Enter")
    walk.holds("Lie on your front, hands under your shoulders.")
    keyboard.fill("[id='a/exercises/seal push/form']", "Press until your elbows are long.")
    page.press("Enter")
    walk.holds("Press until your elbows are long.")
    for name in ("table press", "stork stand"):
        keyboard.push("[data-do=remove][data-at='session/0/exercises/1']")
        walk.desk.until(lambda name=name: name not in str(load_plan(walk.plan).plan.session))
        keyboard.push(f"[id='remove/exercises/{name}']")
        walk.desk.until(lambda name=name: name not in load_plan(walk.plan).plan.exercises)
        # The page takes the change after the file: a list that is walked through must not change meanwhile.
        page.wait(f"!document.getElementById('remove/exercises/{name}')")
    keyboard.choose("[id='a/session/0/exercises']", "seal push")
    keyboard.push("[id='b/session/0/exercises']")
    walk.holds("[chair squat, seal push]")
    keyboard.push("#add-say")
    walk.holds("Take a moment")
    keyboard.fill("[id='f/session/2/say']", "Breathe out, and look over the water.")
    page.press("Enter")
    walk.holds("look over the water")
    keyboard.push("[id='up/session/2']")
    walk.desk.until(lambda: "over the water" in str(load_plan(walk.plan).plan.session[1]))
    assert "# spoken once at the start" in walk.plan.read_text(encoding="utf-8"), "comments survive"
    keyboard.push("#undo")
    walk.desk.until(lambda: "over the water" in str(load_plan(walk.plan).plan.session[2]))
    keyboard.push("#redo")
    walk.desk.until(lambda: "over the water" in str(load_plan(walk.plan).plan.session[1]))
    walk.look("compose")


def edit_meanwhile_in_an_editor(walk: Walk) -> None:
    """The file gets an author while a title is half typed; both are in it afterwards."""
    walk.keyboard.fill("[id='f/title']", "Pier morn")
    text = walk.plan.read_text(encoding="utf-8")
    walk.plan.write_text(text.replace("language: en\n", "language: en\nauthor: R. Tide\n"), encoding="utf-8")
    walk.keyboard.write("ing, by the water")
    walk.page.press("Enter")
    walk.holds("Pier morning, by the water")
    assert load_plan(walk.plan).plan.author == "R. Tide"
    walk.page.wait("document.getElementById('f/author').value === 'R. Tide'")


def record_five_cues(walk: Walk) -> None:
    """Count-in, speak, stop, hear, keep: five times; then let the plan speak with them."""
    keyboard, page = walk.keyboard, walk.page
    keyboard.push("nav a[href^='/booth/']")
    walk.arrived("/booth/pier-morning.yaml")
    page.wait("!!document.querySelector('#lines li')")
    walk.look("booth")
    for n in range(1, 6):
        keyboard.push("#record")
        page.wait("document.getElementById('lamp').classList.contains('live')")
        page.run("new Promise(done => setTimeout(done, 2200))")
        page.press("Enter")
        page.wait("!document.getElementById('keep').disabled")
        keyboard.push("#hear")
        page.wait("document.getElementById('audio').currentTime > 0.2")
        keyboard.push("#keep")
        page.wait(f"document.querySelectorAll('#lines .mine').length === {n}")
    walk.look("booth with takes")
    keyboard.push("#speak")
    walk.holds("voice: mine")
    index = walk.desk.folder / "voices" / "mine" / "index.json"
    assert index.read_text(encoding="utf-8").count('"file"') == 5


def hear_from_three_places(walk: Walk) -> None:
    """From the start, from the last interval, and from between, before anything is made."""
    keyboard, page = walk.keyboard, walk.page
    keyboard.push("nav a[href^='/plan/']")
    walk.arrived("/plan/pier-morning.yaml")
    page.wait("!!document.querySelector('.hear[data-from]')")
    starts = page.run("[...document.querySelectorAll('.hear')].map(one => Number(one.dataset.from))")
    audio = "document.getElementById('audio')"
    for start in (starts[0], starts[-1], starts[len(starts) // 2]):
        keyboard.push(f".hear[data-from='{page.run(f'String({start})')}'], .hear[data-from='{start:.1f}']")
        page.wait(
            f"!{audio}.paused && {audio}.currentTime > {start} + 0.3 && {audio}.currentTime < {start} + 20"
        )
    keyboard.push("#play")
    page.wait(f"{audio}.paused")
    assert [path.name for path in walk.desk.folder.iterdir() if path.is_file()] == [walk.plan.name]


def make(walk: Walk) -> Path:
    """Made and checked at the desk."""
    keyboard, page = walk.keyboard, walk.page
    keyboard.push("nav a[href^='/finish/']")
    walk.arrived("/finish/pier-morning.yaml")
    walk.look("finish, nothing made")
    keyboard.push("#start")
    page.wait("document.getElementById('main').innerText.includes('Every pip and every cue is in place.')")
    assert page.run("document.activeElement.id") == "result-title", "the focus is not lost with the work"
    walk.look("finish")
    return walk.plan.with_suffix(".m4a")


def fetch_as_a_phone(walk: Walk, track: Path) -> None:
    """Over the second listener, by the address in the code; nothing else is there, and the door closes."""
    try:
        local_address()
    except UsageError as error:
        pytest.skip(f"composed, recorded, heard, made and checked, but not handed over: {error}")
    walk.keyboard.push("#phone-track")
    walk.page.wait("!document.getElementById('phone-open').hidden")
    address = walk.page.run("document.getElementById('phone-address').href")
    phone = walk.browser.page(360, 740)
    phone.call("Page.navigate", url=address)
    phone.wait("document.readyState === 'complete' && !!document.querySelector('audio')")
    walk.look("phone", phone)
    assert phone.complaints_of_console() == []
    with urllib.request.urlopen(urljoin(address, track.name), timeout=60) as answer:
        assert answer.read() == track.read_bytes()
    walk.keyboard.push("#phone-stop")
    walk.page.wait("document.getElementById('phone-open').hidden")
    with pytest.raises(OSError, match="refused"):
        urllib.request.urlopen(address, timeout=30)


def same_bytes_by_the_command_line(walk: Walk, track: Path, folder: Path) -> None:
    """The plan and its recordings in another folder, made by the command alone."""
    folder.mkdir()
    shutil.copy(walk.plan, folder)
    shutil.copytree(walk.desk.folder / "voices", folder / "voices")
    command = [sys.executable, "-c", "from cuelane.cli import main; main()"]
    made = folder / track.name
    plan = folder / walk.plan.name
    for words in (["render", str(plan), "-o", str(made)], ["check", str(made)]):
        done = subprocess.run([*command, *words], capture_output=True, text=True, timeout=300)
        assert done.returncode == 0, done.stdout + done.stderr
    assert made.read_bytes() == track.read_bytes()
