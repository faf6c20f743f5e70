"""What cuelane has made of a plan and put beside it, under the plan's name: it goes where the plan goes."""

from __future__ import annotations

from pathlib import Path

from cuelane.base.schedule import LISTING
from cuelane.base.seals import is_file, is_ours, listed_files, status_of
from cuelane.deliver.publish import ENDINGS
from cuelane.desk.music_tried import mix_stem
from cuelane.media.formats import FORMATS

_CHECK = ".check.json"
_ENDS = (*(form.suffix for form in FORMATS), ".html", *ENDINGS, _CHECK)


def made_of_plan(plan: Path) -> list[Path]:
    """Return the tracks, pages, captions and checks of the plan at `plan`, and the mixes that were kept.

    What somebody else wrote, or changed since, stays theirs and is left out; and all is, where another
    plan has the same name with the other ending: nobody can tell whose track it is.
    """
    twin = plan.with_suffix(".yml" if plan.suffix == ".yaml" else ".yaml")
    if twin.is_file():
        return []
    return [*_ours(plan.parent, plan.stem), *_ours(plan.parent, mix_stem(plan))]


def _ours(folder: Path, stem: str) -> list[Path]:
    """Return the files of a set that are as cuelane wrote them; its list last, by which they are known."""
    listed = listed_files(folder / f"{stem}{LISTING}")
    names = [f"{stem}{end}" for end in _ENDS]
    found = [folder / name for name in names if _is_ours(folder / name, listed.get(name))]
    return sorted(found, key=lambda path: path.name.endswith(LISTING))


def _is_ours(path: Path, listed: str | None) -> bool:
    try:
        status = status_of(path)
    except OSError:
        return False
    return status is not None and is_file(status) and is_ours(path, listed)
