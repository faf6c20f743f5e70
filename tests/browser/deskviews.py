"""Every view of the desk, ready to be looked at: a folder with plans, a track and a class."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from devtools import Browser, Page

from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.analysis import analysis_key
from cuelane.audio.store import ClipStore
from cuelane.render.run import render
from test_desk_classes import NAME, class_wav, write_found

TRACK = "pier-legs.yaml"
PLAN = """\
title: Pier legs
voice: system
cautions: standard
session:
  - block: Legs
    pattern: build-up
    work: 40s
    settle: 5s
    rest: 25s
    exercises: [goblet squat, reverse lunge]
  - say: That is the session. Walk it off for a minute.
exercises:
  goblet squat:
    needs: one dumbbell
    load: [quads, glutes]
    preview: Goblet squat. Weight held at your chest, feet just outside your hips.
    setup: Weight at your chest, elbows under it. Sit down between your heels.
    form:
      - Knees track over your toes.
      - {text: Keep your heels heavy., weight: 60}
    easier: Put the weight down and use a chair.
    change: At the pips, leave the dumbbell on the bench.
  reverse lunge:
    sides: alternate
    setup: "{side} leg goes back first."
    form: You can see how my knee stays over the foot.
"""
MISFIT = "too-much.yaml"
MISFIT_PLAN = """\
title: Too much to say
voice: system
session:
  - block: Legs
    pattern: circuit
    work: 12s
    rest: 8s
    exercises: [squat]
exercises:
  squat:
    setup: >-
      Weight at your chest, elbows under it, feet just outside your hips, toes a little out, eyes on the
      far wall, and then sit down slowly between your heels until your thighs are level with the floor.
"""
BROKEN = "to-mend.yaml"
BROKEN_PLAN = """\
title: To mend
session:
  - block: A
    pattern: circuit
    work: soon
    exercises: [rwo]
exercises:
  row: {}
"""
SHARED = "by-two.yaml"
SHARED_PLAN = """\
title: By two
voice: system
session:
  - rest: 30s
  - say: Walk along the quay and back.
"""


@dataclass(frozen=True)
class View:
    """A view: how it is called, its path, and what is done to it before it is looked at."""

    name: str
    path: str
    prepare: Callable[[Page], None] = lambda page: None


def _open_all(page: Page) -> None:
    page.run("document.querySelectorAll('details').forEach(d => d.open = true)")


def _known_and_open(page: Page) -> None:
    page.wait("!document.querySelector('[data-waits]')")
    _open_all(page)


def _drawn_and_open(page: Page) -> None:
    page.wait("!!document.querySelector('#tape path')")
    _open_all(page)


def _all_open_where_it_does_not_fit(page: Page) -> None:
    page.wait("!!document.querySelector('.finding')")
    _open_all(page)


def _changed_in_another_window(page: Page) -> None:
    # What another window would send; this one sees it when it looks next.
    page.run(
        f"(async () => {{ const api = '/api/plan/{SHARED}'; const now = await (await fetch(api)).json();"
        " const title = now.text.includes('By two') ? 'By three' : 'By two';"
        " const body = JSON.stringify({number: now.number, edits: [{op: 'set', at: 'title', value: title}]});"
        " const headers = {'Content-Type': 'application/json'};"
        " await fetch(`${api}/edit`, {method: 'POST', body, headers}); })()"
    )
    page.wait("!document.getElementById('elsewhere').hidden")


def _handed_over(page: Page) -> None:
    # A door that an earlier look has opened is open still.
    page.run(
        "fetch('/api/phone').then(a => a.json())"
        ".then(phone => phone.address || document.getElementById('phone-track').click())"
    )
    page.wait("!document.getElementById('phone-open').hidden || !document.getElementById('trouble').hidden")
    _open_all(page)


VIEWS = (
    View("shelf", "/", lambda page: page.wait("!document.querySelector('[data-waits]')")),
    View("shelf-open", "/", _known_and_open),
    View("compose", f"/plan/{TRACK}"),
    View("compose-open", f"/plan/{TRACK}", _open_all),
    View("compose-misfit", f"/plan/{MISFIT}", _all_open_where_it_does_not_fit),
    View("compose-broken", f"/plan/{BROKEN}"),
    View("compose-elsewhere", f"/plan/{SHARED}", _changed_in_another_window),
    View("booth", f"/booth/{TRACK}"),
    View("booth-broken", f"/booth/{BROKEN}"),
    View("classes", "/classes"),
    View("class", f"/class/{NAME}", _drawn_and_open),
    View("finish", f"/finish/{TRACK}", _handed_over),
    View("finish-nothing", f"/finish/{MISFIT}"),
)


@dataclass
class Shown:
    """A desk that runs on the folder of all views, and a tab in it."""

    page: Page
    address: str

    def go(self, view: View) -> None:
        """Open a view and prepare it."""
        # The page before may have the same path: what is waited for is that it is gone.
        self.page.run("window.isBefore = true")
        self.page.call("Page.navigate", url=self.address + view.path)
        path = view.path
        self.page.wait(
            "!window.isBefore && document.readyState === 'complete'"
            f" && decodeURI(location.pathname) === '{path}'"
        )
        if view.path.startswith("/plan/") and BROKEN not in view.path:
            self.page.wait("!!document.querySelector('#score .staff')")
            # Lengths that become known would exchange parts of the page while it is looked at.
            self.page.wait("document.getElementById('speaking').textContent === ''")
        view.prepare(self.page)

    def phone_address(self) -> str | None:
        """Return the address that a phone is given, None where this computer is in no local network."""
        found = self.page.run("document.getElementById('phone-open').hidden")
        return None if found else str(self.page.run("document.getElementById('phone-address').href"))

    def size(self, width: int, scheme: str) -> None:
        """Make the tab `width` pixels wide, in a colour scheme."""
        self.page.media(scheme)
        self.page.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1, mobile=False
        )


def fill(folder: Path) -> None:
    """Write the plans, the track with its check, and a class that has been listened to."""
    for name, text in ((TRACK, PLAN), (MISFIT, MISFIT_PLAN), (BROKEN, BROKEN_PLAN), (SHARED, SHARED_PLAN)):
        (folder / name).write_text(text, encoding="utf-8")
    away = folder / "deleted" / "2026-01-02 03.04.05 old-legs"
    away.mkdir(parents=True)
    (away / "old-legs.yaml").write_text(PLAN.replace("Pier", "Old"), encoding="utf-8")
    render(folder / TRACK, (folder / TRACK).with_suffix(".flac"), store=ClipStore())
    own = folder / NAME
    own.mkdir()
    recording = own / "Monday class.wav"
    recording.write_bytes(class_wav())
    (own / "class.json").write_text('{"recording": "Monday class.wav", "captions": null}', encoding="utf-8")
    write_found(own, analysis_key(recording, AdaptOptions()))


@contextmanager
def shown(browser: Browser, folder: Path) -> Iterator[Shown]:
    """Run a desk on a filled folder, and open it."""
    command = [sys.executable, "-c", "from cuelane.cli import main; main()", "desk", str(folder), "--no-open"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as running:
        try:
            assert running.stdout is not None
            link = running.stdout.readline().strip()
            page = browser.page()
            page.call("Page.setBypassCSP", enabled=True)
            page.call("Page.navigate", url=link)
            page.wait("document.readyState === 'complete' && location.pathname === '/'")
            yield Shown(page, link.partition("/open")[0])
            page.close()
        finally:
            running.terminate()


def picture_name(view: str, width: int, scheme: str) -> str:
    """Return the name of a picture of a view."""
    return re.sub(r"[^a-z0-9-]+", "-", f"{view}-{width}-{scheme}") + ".png"


def emptied(folder: Path) -> Path:
    """Return `folder` without anything in it."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    return folder
