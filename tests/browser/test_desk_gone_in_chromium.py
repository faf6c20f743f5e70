"""Nothing typed is lost: the desk stops and comes back, it refuses, or the page is left in the middle."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from devtools import PATIENCE_S, Browser
from opened_desk import Desk, follow, opened, start

PLAN = """\
title: Pier
session:
  - block: Legs
    pattern: circuit
    work: 40s
    exercises: [squat]
exercises:
  squat:
    form: [Knees over toes., Keep your heels heavy.]
"""
FIELD, ADDER = "f/exercises/squat/form/0", "a/exercises/squat/form"
LEAVING = "window.dispatchEvent(new Event('beforeunload', { cancelable: true }))"


@pytest.fixture
def desk(browser: Browser, tmp_path: Path) -> Iterator[Desk]:
    """A desk with the plan open in Compose, all of it to be seen."""
    with opened(browser, tmp_path, plan=PLAN) as made:
        shown(made)
        yield made


def shown(desk: Desk) -> None:
    desk.page.wait("document.getElementById('speaking')?.textContent === ''")
    desk.page.run("document.querySelectorAll('details').forEach(one => one.open = true)")


def typed(desk: Desk, field: str, text: str, then: str = "") -> None:
    """Type at the start of a field, and press a key."""
    desk.page.run(f"document.getElementById({field!r}).focus()")
    desk.keys(text)
    if then:
        desk.page.press(then)


def value(desk: Desk, field: str) -> str:
    return str(desk.page.run(f"document.getElementById({field!r}).value"))


def test_what_is_typed_while_the_desk_is_gone_is_saved_when_it_is_back(
    browser: Browser, tmp_path: Path
) -> None:
    """It stays where it was typed, nothing says that it is saved, and leaving the page asks first."""
    plan = tmp_path / "p.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    running, link = start(tmp_path)
    try:
        desk = follow(browser, link, tmp_path)
        desk.go("/plan/p.yaml")
        shown(desk)
        assert desk.page.run(LEAVING) is True
        running.terminate()
        running.communicate(timeout=PATIENCE_S)
        typed(desk, FIELD, "Your ", "Tab")
        typed(desk, ADDER, "Chest up.", "Enter")
        desk.page.wait("!document.getElementById('trouble').hidden")
        assert desk.page.run("document.getElementById('state').textContent") == "Saving"
        assert desk.page.run(LEAVING) is False, "the browser asks before the page goes"
        assert value(desk, FIELD) == "Your Knees over toes."
        port = desk.address.rpartition(":")[2]
        running, link = start(tmp_path, "--port", port)
        desk.page.run(f"fetch({link!r}).then(answer => answer.status)")
        form = "[Your Knees over toes., Keep your heels heavy., Chest up.]"
        desk.until(lambda: form in plan.read_text(encoding="utf-8"))
        desk.saved()
        desk.page.wait("document.getElementById('trouble').hidden")
        assert (value(desk, ADDER), desk.page.run(LEAVING)) == ("", True)
        desk.page.close()
    finally:
        running.terminate()
        running.communicate(timeout=PATIENCE_S)


def test_a_line_waits_in_its_field_while_the_desk_is_gone(browser: Browser, tmp_path: Path) -> None:
    """The field for one more line is emptied at once, for the next; a line that is not taken stands there."""
    (tmp_path / "p.yaml").write_text(PLAN, encoding="utf-8")
    running, link = start(tmp_path)
    try:
        desk = follow(browser, link, tmp_path)
        desk.go("/plan/p.yaml")
        shown(desk)
    finally:
        running.terminate()
        running.communicate(timeout=PATIENCE_S)
    typed(desk, ADDER, "Chest up.", "Enter")
    desk.page.wait("!document.getElementById('trouble').hidden")
    desk.page.wait(f"document.getElementById({ADDER!r}).value === 'Chest up.'")
    desk.page.close()


def test_what_waits_is_not_made_on_a_text_it_was_not_meant_for(browser: Browser, tmp_path: Path) -> None:
    """The file is changed while the desk is gone: each edit asks, and none meets another line."""
    plan = tmp_path / "p.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    running, link = start(tmp_path)
    try:
        desk = follow(browser, link, tmp_path)
        desk.go("/plan/p.yaml")
        shown(desk)
        running.terminate()
        running.communicate(timeout=PATIENCE_S)
        typed(desk, FIELD, "Your ", "Tab")
        typed(desk, FIELD.replace("/0", "/1"), "And ", "Tab")
        typed(desk, ADDER, "Eyes up.", "Enter")
        desk.page.wait("!document.getElementById('trouble').hidden")
        theirs = PLAN.replace("[Knees", "[Chest up., Knees")
        plan.write_text(theirs, encoding="utf-8")
        running, link = start(tmp_path, "--port", desk.address.rpartition(":")[2])
        desk.page.run(f"fetch({link!r}).then(answer => answer.status)")
        desk.page.wait("!document.getElementById('elsewhere').hidden")
        assert plan.read_text(encoding="utf-8") == theirs
        assert desk.page.run("document.querySelectorAll('[data-stays]').length") == 2
        desk.page.click("#keep-mine")
        form = "[Knees over toes., Keep your heels heavy., Eyes up.]"
        desk.until(lambda: form in plan.read_text(encoding="utf-8"))
        desk.page.close()
    finally:
        running.terminate()
        running.communicate(timeout=PATIENCE_S)


def test_a_line_that_waits_takes_no_other_s_place(desk: Desk) -> None:
    """Where it takes a while to notice that the desk is gone, the next line is half typed in the field."""
    desk.page.run(
        "const own = window.fetch; window.back = () => (window.fetch = own);"
        "window.fetch = (url, given) => !String(url).endsWith('/edit') ? own(url, given)"
        " : new Promise((_, gone) => { window.notice = () => gone(new TypeError('gone')); })"
    )
    typed(desk, ADDER, "Chest up.", "Enter")
    desk.page.wait("window.notice !== undefined")
    desk.keys("Eyes")
    desk.page.run("notice()")
    desk.page.wait(f"document.getElementById({ADDER!r}).value === 'Chest up.'")
    desk.page.run("back(); notice()")
    desk.until(lambda: "Chest up.]" in (desk.folder / "p.yaml").read_text(encoding="utf-8"))
    desk.saved()
    assert value(desk, ADDER) == "Eyes"
    desk.page.press("Enter")
    desk.until(lambda: "Chest up., Eyes]" in (desk.folder / "p.yaml").read_text(encoding="utf-8"))


def test_an_edit_that_was_made_without_an_answer_is_not_called_another_s(desk: Desk) -> None:
    """The desk writes it and is gone before it answers: a word, a name and a part, each made once."""
    plan = desk.folder / "p.yaml"
    desk.page.run(
        "const own = window.fetch; window.lost = 0; window.fetch = async (url, given) => {"
        " const answer = await own(url, given);"
        " if (String(url).endsWith('/edit') && !JSON.parse(given.body).on) { lost++; throw new TypeError(); }"
        " return answer; }"
    )
    lone = "document.querySelectorAll('[data-stays], .f-error').length"
    typed(desk, FIELD, "Your ", "Tab")
    typed(desk, ADDER, "Chest up.", "Enter")
    typed(desk, "new-exercise", "row", "Enter")
    desk.page.run("document.getElementById('add-rest').click()")
    desk.until(lambda: "- rest: 30s" in plan.read_text(encoding="utf-8"))
    desk.page.wait("lost === 4")
    desk.saved()
    assert desk.page.run("document.getElementById('elsewhere').hidden")
    assert desk.page.run("document.getElementById('trouble').hidden")
    assert desk.page.run(lone) == 0
    text = plan.read_text(encoding="utf-8")
    assert "[Your Knees over toes., Keep your heels heavy., Chest up.]" in text
    assert (text.count("row:"), text.count("rest: 30s")) == (1, 1)
    assert value(desk, ADDER) == value(desk, "new-exercise") == ""


def test_a_step_that_was_taken_without_an_answer_is_not_called_another_s(desk: Desk) -> None:
    """Back and forth again, each once, though the desk was gone before it answered; it is announced."""
    plan = desk.folder / "p.yaml"
    typed(desk, FIELD, "Your ", "Tab")
    desk.saved()
    typed(desk, ADDER, "Chest up.", "Enter")
    desk.saved()
    both = plan.read_text(encoding="utf-8")
    desk.page.run(
        "const own = window.fetch; window.lost = 0; window.fetch = async (url, given) => {"
        " const answer = await own(url, given);"
        " if (/do$/.test(String(url)) && !JSON.parse(given.body).on) { lost++; throw new TypeError(); }"
        " return answer; }"
    )
    for button, said, form in (
        ("undo", "Undone:", "[Your Knees over toes., Keep your heels heavy.]"),
        ("redo", "Done again:", "[Your Knees over toes., Keep your heels heavy., Chest up.]"),
    ):
        desk.page.run(f"document.getElementById('{button}').click()")
        desk.page.wait(f"document.getElementById('state').textContent.startsWith('{said}')")
        assert form in plan.read_text(encoding="utf-8")
        assert desk.page.run("document.getElementById('elsewhere').hidden")
        assert desk.page.run("document.getElementById('trouble').hidden")
    assert desk.page.run("lost") == 2
    assert plan.read_text(encoding="utf-8") == both


def test_a_step_that_waits_for_a_desk_started_anew_says_what_came_of_it(
    browser: Browser, tmp_path: Path
) -> None:
    """A desk that was killed has no steps any more: one it had taken is told so, one it had not as well."""
    plan = tmp_path / "p.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    running, link = start(tmp_path)
    try:
        desk = follow(browser, link, tmp_path)
        desk.go("/plan/p.yaml")
        for is_written, said in ((True, "Undone:"), (False, "Nothing was undone:")):
            shown(desk)
            before = plan.read_text(encoding="utf-8")
            typed(desk, FIELD, "Your ", "Tab")
            desk.saved()
            running.terminate()
            running.communicate(timeout=PATIENCE_S)
            desk.page.run("document.getElementById('undo').click()")
            desk.page.wait("!document.getElementById('trouble').hidden")
            if is_written:
                # As it is where the desk is killed between the file and the answer.
                plan.write_text(before, encoding="utf-8")
            running, link = start(tmp_path, "--port", desk.address.rpartition(":")[2])
            desk.page.run(f"fetch({link!r}).then(answer => answer.status)")
            desk.page.wait(f"document.getElementById('said').textContent.startsWith('{said}')")
            assert desk.page.run("document.getElementById('elsewhere').hidden")
            assert desk.page.run("document.getElementById('undo').getAttribute('aria-disabled')") == "true"
        assert "Your" in plan.read_text(encoding="utf-8"), "what was said to stay has stayed"
        desk.page.close()
    finally:
        running.terminate()
        running.communicate(timeout=PATIENCE_S)


def test_what_is_refused_comes_back_into_its_field(desk: Desk) -> None:
    """A name that is there already: it can be changed instead of typed again, and is not called saved."""
    typed(desk, "new-exercise", "squat", "Enter")
    desk.page.wait("document.getElementById('trouble').textContent.includes('squat')")
    desk.page.wait("document.getElementById('new-exercise').value === 'squat'")
    assert desk.page.run("document.getElementById('state').textContent") == ""
    desk.keys("s")
    desk.page.press("Enter")
    desk.until(lambda: "squats" in (desk.folder / "p.yaml").read_text(encoding="utf-8"))
    desk.saved()
    assert value(desk, "new-exercise") == ""


def test_a_page_that_is_left_in_the_middle_of_a_word_saves_it(desk: Desk) -> None:
    """Loaded anew or gone to another address, with the focus still in the field."""
    plan = desk.folder / "p.yaml"
    typed(desk, FIELD, "Your ")
    desk.page.call("Page.reload")
    desk.until(lambda: "[Your Knees over toes.," in plan.read_text(encoding="utf-8"))
    desk.go("/plan/p.yaml")
    shown(desk)
    typed(desk, ADDER, "Chest up.")
    desk.go("/")
    desk.until(lambda: "heavy., Chest up.]" in plan.read_text(encoding="utf-8"))


def test_leaving_asks_while_the_text_is_not_saved(desk: Desk) -> None:
    """The whole file as text is saved by its button alone."""
    assert desk.page.run(LEAVING) is True
    typed(desk, "text", "# mine\n")
    assert desk.page.run(LEAVING) is False
    desk.page.run("document.getElementById('save-text').click()")
    desk.until(lambda: "# mine" in (desk.folder / "p.yaml").read_text(encoding="utf-8"))
    desk.page.wait(LEAVING)


def test_a_choice_that_is_refused_does_not_stay_as_if_it_were_taken(desk: Desk) -> None:
    """A list and a box show what the plan holds; what cannot be changed there is said beside it."""
    text = PLAN.replace("    form:", "    load: [arms] # mine\n    form:").replace(
        "  - block: Legs\n    pattern: circuit\n    work: 40s\n    exercises: [squat]\n",
        "  - {block: Legs, pattern: circuit, work: 40s, # mine\n     last_rest: true, exercises: [squat]}\n",
    )
    (desk.folder / "p.yaml").write_text(text, encoding="utf-8")
    desk.go("/plan/p.yaml")
    shown(desk)
    field = "document.getElementById('{}/session/0{}')"
    for one, now, change in (
        (field.format("pattern", ""), "value", "flow"),
        (field.format("f", "/last_rest"), "checked", False),
    ):
        before = desk.page.run(f"{one}.{now}")
        desk.page.run("document.getElementById('said').textContent = ''")
        set_to = "false" if change is False else f"'{change}'"
        desk.page.run(f"{one}.{now} = {set_to}; {one}.dispatchEvent(new Event('change', {{bubbles: true}}))")
        desk.page.wait("document.getElementById('said').textContent.includes('brackets')")
        desk.page.wait(f"{one}.{now} === {str(before).lower() if before is True else repr(before)}")
    assert (desk.folder / "p.yaml").read_text(encoding="utf-8") == text
