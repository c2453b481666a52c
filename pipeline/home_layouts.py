"""Carry a data home of an older layout forward, step by step; what a step changes is copied first.

``home.json`` tells the layout. A step goes from one layout to the next, works on the folder alone,
and can be begun again over its own half: the card is raised last, so that a step killed half-way is
done anew, and the copy in ``before_layout_N/`` is whole or not there. Steps are never changed once
homes went through them. Files handed in are not touched by any.

===== =====================================================================================
2     ``deeds/``, the record of who did what; begun with the hand-ins that are there, by whom
      is not known. Cards of later hand-ins say who handed in (``handed_in_by``).
3     ``sweeps_by_shop/``, ``sweeps_aside/`` and ``sweep_cards/``, where builds keep samples by
      shop and month. Those in ``sweeps/`` stay until the next build has put them together.
===== =====================================================================================
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path

from filelock import FileLock

from pipeline.deed_lines import Standing, line_of


def carry_forward(root: Path) -> list[int]:
    """Bring a home to the present layout; the layouts it went to, none where it was there.

    The caller holds the home for one builder, and has refused a newer one.

    Raises
    ------
    OSError
        The home cannot be written; begun again, it goes on from the last whole step.
    """
    gone_to = []
    while (layout := _layout(root)) < LAYOUT:
        step, changes = STEPS[layout]
        _keep_before(root, layout + 1, changes)
        step(root)
        _write_card(root, layout + 1)
        gone_to.append(layout + 1)
    return gone_to


def _layout(root: Path) -> int:
    return int(json.loads((root / "home.json").read_text(encoding="utf-8"))["layout"])


def _keep_before(root: Path, layout: int, changes: tuple[str, ...]) -> None:
    """A copy of what a step changes, as it was before; kept for good."""
    final = root / f"before_layout_{layout}"
    if final.exists():
        return  # a step begun and killed: what stands there is older than its half
    draft = root / f".{final.name}.draft"
    shutil.rmtree(draft, ignore_errors=True)
    draft.mkdir()
    for name in changes:
        path = root / name
        if path.is_dir():
            shutil.copytree(path, draft / name)
        elif path.exists():
            shutil.copy2(path, draft / name)
    draft.rename(final)


def _write_card(root: Path, layout: int) -> None:
    card = json.loads((root / "home.json").read_text(encoding="utf-8"))
    _write_whole(root / "home.json", (json.dumps(card | {"layout": layout}) + "\n").encode())


def _write_whole(path: Path, content: bytes) -> None:
    draft = path.with_name(f".{path.name}.step")
    with draft.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    draft.replace(path)


def _to_2(root: Path) -> None:
    """Begin the record of deeds with the hand-ins that are there."""
    folder = root / "deeds"
    folder.mkdir(exist_ok=True)
    with FileLock(folder / "lock"):
        if not any(folder.glob("*.jsonl")):  # else a page that saved something has begun it
            lines = _old_hand_ins(root)
            if lines:
                _write_whole(folder / "000001.jsonl", b"".join(line + b"\n" for line in lines))


def _old_hand_ins(root: Path) -> list[bytes]:
    lines: list[bytes] = []
    numbers = (root / "handed_in").glob("[0-9]*")
    for path in sorted(numbers, key=lambda found: int(found.name)):
        deed = _deed_of_old_card(path)
        if deed is None:
            break  # a damaged card: it and what follows are told of once it is put back
        stands = Standing(number=len(lines) + 1, hand_in=int(path.name))
        lines.append(line_of(deed, stands, lines[-1] if lines else None))
    return lines


def _deed_of_old_card(folder: Path) -> Mapping[str, object] | None:
    path = folder / "hand_in.json"
    try:
        content = path.read_bytes()
        card = json.loads(content)
        names = [str(file["name"]) for file in card["files"]]
        at = str(card["handed_in_at"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    person = card.get("handed_in_by") or {}
    said = {"hand_in": int(folder.name), "files": names[:20], "file_count": len(names)}
    said["card"] = hashlib.sha256(content).hexdigest()
    return {
        "at": at,
        "who": str(person.get("name", "")),
        "role": str(person.get("role", "")),
        "deed": str(card.get("deed", "handed_in")),
        "said": said,
    }


def _to_3(root: Path) -> None:
    """Make the folders that samples are kept in by shop and month."""
    for name in ("sweeps_by_shop", "sweeps_aside", "sweep_cards"):
        (root / name).mkdir(exist_ok=True)


#: By the layout it begins from: the step, and the files and folders that it changes.
STEPS: dict[int, tuple[Callable[[Path], None], tuple[str, ...]]] = {
    1: (_to_2, ("home.json", "deeds")),
    2: (_to_3, ("home.json",)),
}
LAYOUT = 1 + len(STEPS)
