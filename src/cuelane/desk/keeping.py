"""The files of plans: a plan is copied, gets another name, is deleted and comes back.

Nothing of a person's is lost by it: what is deleted is moved, see :mod:`cuelane.desk.deleted`, and a plan
that gets another name is under one of the two at every moment, whenever the desk is killed. What names a
plan, such as a plan that puts it in, names it still afterwards.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path

from cuelane.base.errors import CuelaneError, UsageError
from cuelane.base.files import all_or_nothing, finish_interrupted
from cuelane.base.folder_lock import folder_locked
from cuelane.desk.archive import files_of
from cuelane.desk.beside_plan import made_of_plan
from cuelane.desk.classes import Classes
from cuelane.desk.deleted import DELETED, contents_of, new_place, put_away_as
from cuelane.desk.document import ChangedElsewhereError, Document, digest_of
from cuelane.desk.edits import Edit, EditError, Set, data_of
from cuelane.desk.finishing import Finishing
from cuelane.desk.folder import OWN_PLAN
from cuelane.desk.forms import key_order
from cuelane.desk.named_by import NamedBy, naming, naming_once_back, using
from cuelane.desk.one_at_a_time import OneAtATime
from cuelane.desk.plan_names import free_stem, new_plan_path
from cuelane.desk.splice import apply
from cuelane.desk.words import Said, desk_words
from cuelane.desk.workspace import Workspaces
from cuelane.plan.loaded import included_files, recordings_named
from cuelane.plan.starter import title_of

_VOICES = "voices"


class Keeping:
    """What is done with whole plans. All methods may be called from several threads.

    What moves a file waits for nothing: while the desk renders, checks or listens it is refused.
    """

    def __init__(
        self, workspaces: Workspaces, classes: Classes, finishing: Finishing, turn: OneAtATime
    ) -> None:
        self._workspaces = workspaces
        self._folder = workspaces.folder
        self._classes = classes
        self._finishing = finishing
        self._turn = turn
        # A copy holds off no long work, but it is not made while another plan's name changes in it.
        self._files = threading.Lock()

    def copy(self, name: str, title: str) -> str:
        """Write a plan once more under another title; return the copy's name.

        It lies where the plan lies, so that what it names beside it is found; one in a folder of its own,
        such as that of a class, gets another such folder, with the recordings that it is spoken by.

        Raises
        ------
        UsageError : no such plan, no title, or a plan of a folder of its own that has errors.
        PlanError : it is no text.
        """
        title = title_of(title)
        with self._files:
            path = self._folder.path_of(name)
            text = _with_title(self._folder.document(name).now().text, title)
            if path.parent != self._folder.path:
                return self._copied_below(name, path.parent, text, free_stem(self._folder, title))
            target = new_plan_path(self._folder, title)
            with all_or_nothing(target) as staged:
                staged.write_text(target, text)
            return target.name

    def rename(self, name: str, title: str) -> tuple[str, bool]:
        """Give a plan another title, and its file a name made from that; or its folder, if it has one.

        Returns
        -------
        name, whether tracks bore the old one : these are put with what was deleted, since they say the old
            title, and are made again in seconds.

        Raises
        ------
        UsageError : no such plan, no title, the desk is busy, or another file names it in an odd way.
        PlanError, EditError : it cannot be given a title as it stands.
        """
        title, old = title_of(title), self._folder.path_of(name)
        document = self._folder.document(name)
        if old.parent != self._folder.path:
            return self._renamed_below(document, name, title), False
        with self._alone(name):
            new = old.with_name(free_stem(self._folder, title, own=old.stem) + old.suffix)
            # Some disks do not tell capitals from small letters: only these are no other name.
            is_moved = new.name.lower() != name.lower()
            if not is_moved:
                _give_title(document, title)
                return name, False
            named = [*naming(self._folder, old), *naming_once_back(self._folder, old)]
            changes = self._changes(named, new.name)
            _give_title(document, title)
            self._move(document, new, changes)
            return new.name, self._put_away_made(old)

    def _renamed_below(self, document: Document, name: str, title: str) -> str:
        """Give the plan of a folder of its own another title, and the folder that name; return the plan's.

        The folder keeps its name where another plan uses a file in it. Tracks in it keep theirs.
        """
        home = document.path.parent
        with self._alone(name):
            stem = free_stem(self._folder, title, own=home.name)
            _give_title(document, title)
            named = [*naming(self._folder, document.path), *naming_once_back(self._folder, document.path)]
            is_used = any(not one.path.is_relative_to(home) for one in named) or using(self._folder, home)
            if is_used or stem.lower() == home.name.lower():
                return name
            self._classes.tapes.close()
            finish_interrupted(home)
            with folder_locked(self._folder.path):
                if os.path.lexists(home.with_name(stem)):
                    raise UsageError(Said("wrong.taken", name=stem))
                home.rename(home.with_name(stem))
            now = f"{stem}:{OWN_PLAN}"
            self._finishing.beds.is_renamed(name, now)
            self._folder.is_renamed(name, now)
            self._let_go(name)
            self._workspaces.forget(now)
            return now

    def delete(self, name: str) -> str:
        """Put a plan, with what was made of it, among what was deleted; return its key there.

        Of a plan in a folder of its own, that folder goes as a whole.

        Raises
        ------
        UsageError : no such plan, other plans use it, or the desk is busy.
        """
        path = self._folder.path_of(name)
        own = path.parent if path.parent != self._folder.path else None
        with self._alone(name):
            users = [one.title for one in naming(self._folder, path) if own is None or own != one.path.parent]
            users += using(self._folder, own) if own is not None else []
            if users:
                raise UsageError(Said("wrong.used_by", names=", ".join(dict.fromkeys(users))))
            self._let_go(name)
            if own is not None:
                self._classes.tapes.close()
                return self._put_away([own], own.name)
            finish_interrupted(path.parent)
            return self._put_away([*made_of_plan(path), path], path.stem)

    def bring_back(self, key: str) -> tuple[str, str]:
        """Put what was deleted where it was; return its plan's name, empty for none, and its title.

        What was made of it stays among what was deleted where another file has its name by now.

        Raises
        ------
        UsageError : it is not there any more, its name was given to another meanwhile, or the desk is busy.
        """
        one = put_away_as(self._folder, key)
        with self._alone(one.title):
            every = contents_of(one)
            free = [path for path in every if not os.path.lexists(self._folder.path / path.name)]
            if every[-1] not in free:
                raise UsageError(Said("wrong.taken", name=every[-1].name))
            _moved(free, self._folder.path, self._folder.path)
            for place in (one.folder, self._folder.path / DELETED):
                with contextlib.suppress(OSError):
                    place.rmdir()
            back = self._folder.path / every[-1].name
            name = f"{back.name}:{OWN_PLAN}" if back.is_dir() else back.name
            self._let_go(name)
            return (name if one.is_plan else ""), one.title

    @contextlib.contextmanager
    def _alone(self, name: str) -> Iterator[None]:
        """Hold off all long work of the desk; refuse where there is some."""
        self._turn.take(Said("busy.keeping", name=name))
        try:
            with self._files:
                yield
        except FileNotFoundError as error:
            # Another desk, or a person, has moved it between the look at it and its turn.
            raise UsageError(Said("compose.changed")) from error
        finally:
            self._turn.give()

    def _let_go(self, name: str) -> None:
        """Forget what the desk knows of the plan that has, or had, this name."""
        if self._finishing.handoff.now().get("plan") == name:
            self._finishing.handoff.stop()
        self._finishing.beds.is_gone(name)
        self._workspaces.forget(name)
        self._folder.is_gone(name)

    def _copied_below(self, name: str, home: Path, text: str, stem: str) -> str:
        loaded = self._workspaces.open(name).now()[1].loaded
        if loaded is None:
            raise UsageError(Said("wrong.mend_first"))
        named = [
            Path(os.path.normpath(path)) for path in (*recordings_named(loaded), *included_files(loaded))
        ]
        voices = files_of(home / _VOICES) if (home / _VOICES).is_dir() else []
        made = Path(tempfile.mkdtemp(prefix=".copy-", dir=self._folder.path))
        try:
            for path in dict.fromkeys([*named, *voices]):
                target = made / path.relative_to(home)
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(path, target)
            (made / OWN_PLAN).write_bytes(text.encode("utf-8"))
            made.chmod(home.stat().st_mode & 0o777)
            made.rename(self._folder.path / stem)
        except BaseException:
            shutil.rmtree(made, ignore_errors=True)
            raise
        return f"{stem}:{OWN_PLAN}"

    def _changes(self, named: Sequence[NamedBy], now: str) -> list[tuple[Document, list[Edit]]]:
        """Return the edits by which other files name a plan that is called `now`. They have been tried."""
        changes: list[tuple[Document, list[Edit]]] = []
        for one in named:
            document = self._folder.document(one.name) if one.name else Document(one.path)
            edits: list[Edit] = [
                Set(place, written[: len(written) - len(Path(written).name)] + now)
                for place, written in one.places
            ]
            try:
                document.tried(edits)
            except EditError as error:
                raise UsageError(Said("wrong.named_oddly", name=one.title)) from error
            changes.append((document, edits))
        return changes

    def _move(self, document: Document, new: Path, changes: Sequence[tuple[Document, list[Edit]]]) -> None:
        """Give a plan's file another name, and have the others name it so.

        Killed at any moment, each of them names a file that is there: at first the plan has both names.
        """
        old = document.path
        with all_or_nothing(new) as staged:
            staged.write_text(new, document.now().text)
        label = desk_words()("top.named", what=desk_words().compose["kind_include"], name=new.name)
        for other, edits in changes:
            _edit(other, edits, label, follows=True)
        self._classes.plan_renamed(old.name, new.name)
        with folder_locked(old.parent):
            # Not the copy but the file itself, with what anybody has written into it meanwhile.
            try:
                old.replace(new)
            except FileNotFoundError:
                if not changes:
                    # Gone, and nothing names the copy: it would be one more plan than there was.
                    new.unlink(missing_ok=True)
                raise
        self._finishing.beds.is_renamed(old.name, new.name)
        self._folder.is_renamed(old.name, new.name)
        self._let_go(old.name)
        self._workspaces.forget(new.name)

    def _put_away_made(self, plan: Path) -> bool:
        """Put away what was made of a plan that has had this path; return whether there was anything."""
        finish_interrupted(plan.parent)
        made = made_of_plan(plan)
        try:
            return bool(made) and bool(self._put_away(made, plan.stem))
        except (CuelaneError, OSError):
            # The plan has its new name: where its tracks cannot be moved, they stay where they are.
            return False

    def _put_away(self, paths: Sequence[Path], name: str) -> str:
        place = new_place(self._folder, name)
        try:
            _moved(paths, place, self._folder.path)
        except BaseException:
            with contextlib.suppress(OSError):
                place.rmdir()
            raise
        return place.name


def _moved(paths: Sequence[Path], into: Path, home: Path) -> None:
    """Move files and folders, all or none, while nobody else puts files into `home`."""
    done: list[Path] = []
    with folder_locked(home):
        try:
            for path in paths:
                target = into / path.name
                if os.path.lexists(target):
                    raise UsageError(Said("wrong.taken", name=path.name))
                path.rename(target)
                done.append(path)
        except BaseException:
            for path in reversed(done):
                (into / path.name).rename(path)
            raise


def _with_title(text: str, title: str) -> str:
    """Return a plan's text with another title; as it is, where it cannot be changed so."""
    try:
        return apply(text, Set(("title",), title, key_order(())))
    except EditError:
        return text


def _give_title(document: Document, title: str) -> None:
    data = data_of(document.now().text)
    if not isinstance(data, dict) or data.get("title") != title:
        label = desk_words()("top.named", what=desk_words().shelf["name"], name=title)
        _edit(document, [Set(("title",), title, key_order(()))], label)


def _edit(document: Document, edits: Sequence[Edit], what: str, *, follows: bool = False) -> None:
    version = document.now()
    try:
        seen = digest_of(version.text)
        document.edit(edits, what=what, number=version.number, seen=seen, follows=follows)
    except ChangedElsewhereError as error:
        raise UsageError(Said("compose.changed")) from error
