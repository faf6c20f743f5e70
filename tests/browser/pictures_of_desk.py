"""Take pictures of every view of the desk, small and large, light and dark.

``PYTHONPATH=tests:tests/kit python tests/browser/pictures_of_desk.py FOLDER``, for whoever changes how the
desk looks: pictures are to be looked at, no test can say that a page is cramped.
"""

from __future__ import annotations

import base64
import sys
import tempfile
from pathlib import Path

from deskviews import VIEWS, Shown, emptied, fill, picture_name, shown
from devtools import Browser, Page, find_chromium

SIZES = (360, 1440)
SCHEMES = ("light", "dark")


def picture(page: Page) -> bytes:
    """Return the whole page as PNG, what scrolls inside a frame of its own laid out in full."""
    # Rows far below the window are drawn only when somebody scrolls to them.
    page.run(
        "document.querySelectorAll('.row, .staff').forEach(row => row.style.contentVisibility = 'visible');"
        "document.querySelectorAll('.right, .script, .script ol, .scored')"
        ".forEach(box => box.style.maxHeight = 'none')"
    )
    # Without a clip the picture is as high as the page was before that.
    page.run("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    width, height = page.run("[innerWidth, document.documentElement.scrollHeight]")
    clip = {"x": 0, "y": 0, "width": width, "height": height, "scale": 1}
    answer = page.call("Page.captureScreenshot", format="png", captureBeyondViewport=True, clip=clip)
    return base64.b64decode(answer["data"])


def take_all(desk: Shown, out: Path, wanted: list[str]) -> None:
    """Write a picture for each view, width and colour scheme."""
    for width in SIZES:
        for scheme in SCHEMES:
            desk.size(width, scheme)
            for view in VIEWS:
                if wanted and view.name not in wanted:
                    continue
                desk.go(view)
                (out / picture_name(view.name, width, scheme)).write_bytes(picture(desk.page))
                if view.name == "compose":
                    desk.page.media(scheme, medium="print")
                    (out / picture_name("timetable-printed", width, scheme)).write_bytes(picture(desk.page))
                    desk.page.media(scheme)
                address = desk.phone_address() if view.name == "finish" else None
                if address:
                    desk.page.call("Page.navigate", url=address)
                    desk.page.wait("document.readyState === 'complete' && !!document.querySelector('audio')")
                    (out / picture_name("phone", width, scheme)).write_bytes(picture(desk.page))


def main() -> None:
    """Take them all, or those of the views named after the folder."""
    program = find_chromium()
    if program is None or len(sys.argv) < 2:
        raise SystemExit("needs a Chromium, and the name of a folder for the pictures")
    out = emptied(Path(sys.argv[1]))
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "plans"
        folder.mkdir()
        fill(folder)
        with (
            Browser(program, Path(scratch) / "profile", "--hide-scrollbars") as browser,
            shown(browser, folder) as desk,
        ):
            take_all(desk, out, sys.argv[2:])


if __name__ == "__main__":
    main()
