"""Plans copied, renamed, deleted and brought back by keys alone: what is said, where the focus goes."""

from __future__ import annotations

from pathlib import Path

from devtools import Browser
from opened_desk import Desk, opened

from test_desk_keeping import write_track

WALK = "title: Walk\nvoice: system\nsession:\n  - rest: 30s\n"
EVENING = "title: Evening\nvoice: system\nsession:\n  - include: walk.yaml\n"
FOCUSED = "document.activeElement.id"
SAID = "document.getElementById('said').textContent.trim()"


def opens_acts(desk: Desk, name: str) -> None:
    """Come to what can be done with a plan, and open it, by keys."""
    desk.page.run("document.getElementById('title').tabIndex = -1, document.getElementById('title').focus()")
    desk.tab_to(f'[id="acts/{name}"]')
    desk.page.press("Enter")


def types_title(desk: Desk, act: str, title: str) -> None:
    """Write a title over the one that is proposed, and send it."""
    desk.tab_to(f"form[data-act={act}] input")
    desk.page.run("document.activeElement.select()")
    desk.keys(title)
    desk.page.press("Enter")


def test_a_plan_is_copied_renamed_deleted_and_brought_back_by_keys(browser: Browser, tmp_path: Path) -> None:
    """Each is announced, and the focus goes on to where the person would go on."""
    (tmp_path / "walk.yaml").write_text(WALK, encoding="utf-8")
    with opened(browser, tmp_path) as desk:
        opens_acts(desk, "walk.yaml")
        assert desk.page.run("document.querySelector('form[data-act=copy] input').value") == "Copy of Walk"
        types_title(desk, "copy", "Stroll")
        desk.page.wait("location.pathname === '/plan/stroll.yaml' && document.readyState === 'complete'")
        desk.go("/")
        opens_acts(desk, "stroll.yaml")
        types_title(desk, "rename", "Amble")
        desk.page.wait(f"{FOCUSED} === 'acts/amble.yaml'")
        assert desk.page.run(SAID) == "Renamed. Its file is called amble.yaml now."
        assert desk.page.run("document.getElementById('done').innerText") == desk.page.run(SAID)
        assert sorted(path.name for path in tmp_path.glob("*.yaml")) == ["amble.yaml", "walk.yaml"]
        desk.page.press("Enter")
        desk.tab_to("form[data-act=delete][data-of='amble.yaml'] button")
        desk.page.press("Enter")
        desk.page.wait(f"{FOCUSED}.startsWith('back/')")
        assert desk.page.run(SAID).startswith("Deleted: Amble.")
        assert [path.name for path in tmp_path.glob("*.yaml")] == ["walk.yaml"]
        desk.page.press("Enter")
        desk.page.wait(f"{FOCUSED} === 'open/amble.yaml'")
        assert desk.page.run(SAID) == "Amble is back."
        assert not desk.page.run("!!document.getElementById('deleted-title')")
        # What the shelf did not know of it is asked for, as when the page is opened.
        desk.page.wait("!document.querySelector('[data-waits]')")
        assert desk.page.run("document.getElementById('open/amble.yaml').textContent") == "Amble"
        assert desk.page.complaints_of_console() == []


def test_a_track_of_the_old_name_is_one_press_from_being_made_again(browser: Browser, tmp_path: Path) -> None:
    """Behind what a rename tells of the track stands the way to where it is made again."""
    (tmp_path / "walk.yaml").write_text(WALK, encoding="utf-8")
    write_track(tmp_path / "walk.yaml")
    with opened(browser, tmp_path) as desk:
        opens_acts(desk, "walk.yaml")
        types_title(desk, "rename", "Amble")
        desk.page.wait(f"{FOCUSED} === 'acts/amble.yaml'")
        assert desk.page.run("document.getElementById('done').innerText").endswith("under Finish. Finish")
        desk.page.run("document.querySelector('#done a').click()")
        desk.page.wait("location.pathname === '/finish/amble.yaml' && document.readyState === 'complete'")
        desk.go("/")
        # Without a track there is nothing to be made again.
        opens_acts(desk, "amble.yaml")
        types_title(desk, "rename", "Walk")
        desk.page.wait(f"{FOCUSED} === 'acts/walk.yaml'")
        assert not desk.page.run("!!document.querySelector('#done a')")


def test_a_page_of_a_plan_that_goes_says_so(browser: Browser, tmp_path: Path) -> None:
    """Open in another tab: under its new name, or deleted; once it is back, no more is said."""
    (tmp_path / "walk.yaml").write_text(WALK, encoding="utf-8")
    told = "document.getElementById('trouble').hidden ? '' : document.getElementById('trouble').textContent"
    asks = (
        (
            "(path, data) => fetch(path, {{method: 'POST', headers: {{'Content-Type': 'application/json'}},"
            " body: JSON.stringify(data)}}).then(answer => answer.status)"
        )
        .replace("{{", "{")
        .replace("}}", "}")
    )
    with opened(browser, tmp_path) as desk:
        desk.go("/plan/walk.yaml")
        assert desk.page.run(f"({asks})('/api/shelf/walk.yaml/delete', {{}})") == 200
        desk.page.wait(f"({told}).startsWith('there is no plan')")
        (key,) = (path.name for path in (tmp_path / "deleted").iterdir())
        assert desk.page.run(f"({asks})(encodeURI('/api/deleted/{key}/back'), {{}})") == 200
        desk.page.wait(f"({told}) === ''")
        assert desk.page.run(f"({asks})('/api/shelf/walk.yaml/rename', {{title: 'Amble'}})") == 200
        desk.page.wait(f"({told}) === \"the plan 'walk.yaml' is called 'amble.yaml' now\"")


def test_a_page_of_a_plan_that_names_it_follows_without_a_question(browser: Browser, tmp_path: Path) -> None:
    """The person has renamed it at this desk; a change by another program is asked about as ever."""
    (tmp_path / "walk.yaml").write_text(WALK, encoding="utf-8")
    evening = tmp_path / "evening.yaml"
    evening.write_text(EVENING, encoding="utf-8")
    send = (
        "(title) => fetch('/api/shelf/walk.yaml/rename', {method: 'POST', body: JSON.stringify({title}),"
        " headers: {'Content-Type': 'application/json'}}).then(answer => answer.status)"
    )
    with opened(browser, tmp_path) as desk:
        desk.go("/plan/evening.yaml")
        assert desk.page.run(f"({send})('Amble')") == 200
        desk.page.wait("document.getElementById('text').value.includes('include: amble.yaml')")
        assert desk.page.run("document.getElementById('elsewhere').hidden")
        evening.write_text(evening.read_text(encoding="utf-8") + "  - rest: 45s\n", encoding="utf-8")
        desk.page.wait("!document.getElementById('elsewhere').hidden")
        assert "45s" in desk.page.run("document.getElementById('elsewhere-now').textContent")


def test_a_plan_that_is_used_says_where_and_stays(browser: Browser, tmp_path: Path) -> None:
    """In words that are announced; what was typed elsewhere on the shelf stays through what is done."""
    (tmp_path / "walk.yaml").write_text(WALK, encoding="utf-8")
    (tmp_path / "evening.yaml").write_text(EVENING, encoding="utf-8")
    with opened(browser, tmp_path) as desk:
        opens_acts(desk, "walk.yaml")
        desk.tab_to("form[data-act=delete][data-of='walk.yaml'] button")
        desk.page.press("Enter")
        desk.page.wait("!document.getElementById('trouble').hidden")
        told = desk.page.run("document.getElementById('trouble').textContent")
        assert told == "this plan is used by: Evening; take it out there first"
        desk.tab_to("form[data-act=copy][data-of='walk.yaml'] input")
        desk.keys(" typed")
        opens_acts(desk, "evening.yaml")
        desk.tab_to("form[data-act=delete][data-of='evening.yaml'] button")
        desk.page.press("Enter")
        desk.page.wait(f"{FOCUSED}.startsWith('back/')")
        assert desk.page.run("document.getElementById('trouble').hidden")
        kept = "document.querySelector('form[data-act=copy][data-of=\"walk.yaml\"] input').value"
        assert desk.page.run(kept).endswith("typed")
