"""Reads an MDF file in a process of its own that may take so much memory and no more.

Run by its path: ``mdf_child.py MEMORY_BYTES MOST_SAMPLES FILE`` prints the channels as JSON; with
``OUT NAME ...`` behind, it also writes times and values of those to OUT. A formula in a file is
never worked out: values under one are refused by name.
"""

from __future__ import annotations

import json
import sys
from typing import Any

MOST_CHANNELS = 2_000
OUT_OF_MEMORY, REFUSED = 3, 4
#: Conversions that are plain arithmetic: none, straight line, rational, value tables.
_PLAIN = (0, 1, 2, 4, 5, 6)
_TIME_MASTER, _FORMULA = 1, 3


class _RefusedError(Exception):
    pass


def main(arguments: list[str]) -> int:
    """Do what was asked for; 0, or why not."""
    _bound(int(arguments[0]))
    try:
        from asammdf import MDF

        mdf = MDF(arguments[2], raise_on_multiple_occurrences=False)
        listed = _listed(mdf)
        if len(arguments) > 3:
            _write(mdf, listed, int(arguments[1]), arguments[3], arguments[4:])
        print(json.dumps(listed))
    except MemoryError:
        return OUT_OF_MEMORY
    except _RefusedError as error:
        print(error)
        return REFUSED
    except Exception as error:
        said = f"{type(error).__name__}: {str(error)[:200]}"
        print(f"it cannot be read as MDF ({said}); expected an undamaged MDF 4 file")
        return REFUSED
    return 0


def _bound(memory: int) -> None:
    try:
        import resource
    except ImportError:  # not on this system
        return
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    resource.setrlimit(resource.RLIMIT_FSIZE, (memory, memory))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _listed(mdf: Any) -> list[dict]:
    """Each channel that is no time: where, what it is called, its unit, and what is against it."""
    found: list[dict] = []
    for group_no, group in enumerate(mdf.groups):
        master = mdf.masters_db.get(group_no)
        step_s = _step_s(mdf, group_no)
        for channel_no, channel in enumerate(group.channels):
            if channel_no != master and len(found) < MOST_CHANNELS:
                conversion = channel.conversion
                unit = channel.unit or (conversion.unit if conversion else "") or ""
                found.append(
                    {
                        "at": [group_no, channel_no],
                        "name": str(channel.name),
                        "unit": str(unit),
                        "samples": int(group.channel_group.cycles_nr),
                        "step_s": step_s,
                        "against": _against(mdf, group_no, channel),
                    }
                )
    _named_apart(found)
    return found


def _named_apart(found: list[dict]) -> None:
    """Let channels of one name be told apart by their group, and within it by their place."""
    counts: dict[str, int] = {}
    for one in found:
        counts[one["name"]] = counts.get(one["name"], 0) + 1
    taken: set[str] = set()
    for one in found:
        name = one["name"]
        if counts[name] > 1:
            name = f"{name} of group {one['at'][0] + 1}"
        if name in taken:
            name = f"{name}, channel {one['at'][1] + 1}"
        taken.add(name)
        one["name"] = name


def _step_s(mdf: Any, group_no: int) -> float | None:
    import numpy as np

    try:
        t_s = mdf.get_master(group_no, record_offset=0, record_count=5_000)
    except Exception:
        return None
    steps = np.diff(np.asarray(t_s, dtype=float))
    steps = steps[np.isfinite(steps) & (steps > 0)]
    return float(np.median(steps)) if steps.size else None


def _against(mdf: Any, group_no: int, channel: Any) -> str:
    """Why a channel is no row of numbers over time; blank where it is one."""
    master = mdf.masters_db.get(group_no)
    if master is None or mdf.groups[group_no].channels[master].sync_type != _TIME_MASTER:
        return "its group has no channel of times"
    kind = channel.conversion.conversion_type if channel.conversion else 0
    if kind == _FORMULA:
        return "its values are made by a formula in the file, which is not worked out"
    if kind not in _PLAIN:
        return "its values are words"
    if channel.data_type > 5:
        return "its values are no numbers"
    return ""


def _write(mdf: Any, listed: list[dict], most_samples: int, out: str, names: list[str]) -> None:
    import numpy as np

    places = {one["name"]: one["at"] for one in listed}
    arrays: dict[str, Any] = {}
    for number, name in enumerate(names):
        if name not in places:
            continue  # whoever asked sees by the list that it is not there
        group_no, channel_no = places[name]
        channel = mdf.groups[group_no].channels[channel_no]
        against = _against(mdf, group_no, channel)
        if against:
            raise _RefusedError(f"{name} cannot be read: {against}")
        if mdf.groups[group_no].channel_group.cycles_nr > most_samples:
            count = mdf.groups[group_no].channel_group.cycles_nr
            raise _RefusedError(
                f"{channel.name} states {count:,} samples; expected at most {most_samples:,}: cut "
                "the recording to the slow passes"
            )
        read = mdf.get(group=group_no, index=channel_no, ignore_invalidation_bits=False)
        values = np.asarray(read.samples)
        if values.ndim != 1 or values.dtype.kind not in "iufb":
            raise _RefusedError(f"{channel.name} is no row of numbers")
        values = values.astype(float)
        if read.invalidation_bits is not None:
            values[np.asarray(read.invalidation_bits, dtype=bool)] = np.nan
        arrays[f"t{number}"] = np.asarray(read.timestamps, dtype=float)
        arrays[f"v{number}"] = values
    with open(out, "wb") as file:  # by handle, so that no ending is added
        np.savez(file, **arrays)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
