"""What is judged when something was repaired within the log: the part after it, if that holds a stand and a drive."""

from __future__ import annotations

from monitor.base.results import Result

REPAIRS = ("repair", "battery replaced")


def since_repair(result: Result) -> tuple[Result, str | None]:
    """The document from the last repair on, and in words what was left out; the whole and None where none was marked.

    Wake-up groups and battery findings are of the whole log, so they are left out too.
    """
    repairs = [mark for mark in result.marks if mark.kind in REPAIRS]
    if not repairs:
        return result, None
    last = max(repairs, key=lambda mark: mark.at)
    stands = [stand for stand in result.stands if stand.start >= last.at]
    drives = [drive for drive in result.drives if drive.start >= last.at]
    if not stands or not drives:
        return result, f'Marked "{last.text}", but no stand and drive after it: judged as if nothing had been done.'
    first = max(last.at, result.log.first or last.at)
    changed = {
        "stands": stands,
        "drives": drives,
        "wake_up_groups": [],
        "battery": None,
        "log": result.log.model_copy(update={"first": first}),
        "marks": [mark for mark in result.marks if mark.at >= last.at],
    }
    return result.model_copy(update=changed), f'Judged from the mark "{last.text}" on; what was before is left out.'
