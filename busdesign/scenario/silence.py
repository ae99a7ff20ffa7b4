"""When a node is silent, judged after the run: the same rule for a run and for a capture."""

from busdesign.catalogue.model import Catalogue
from busdesign.scenario.tracks import Column, Track


def silence_limit_ns(catalogue: Catalogue, node: str) -> int | None:
    """The gap after which ``node`` is silent: the smallest ``lost_after`` among its messages; None if none has one."""
    limits = [message.lost_after_ns for message in catalogue.sent_by(node) if message.lost_after_ns is not None]
    return min(limits, default=None)


def silence_track(end_times_ns: Column, lost_after_ns: int, run_end_ns: int) -> Track:
    """The track of ``node.silent``, from the ends of all the node's frames in ascending order.

    True from the end of a frame if the gap to the end of the next one, or to the end of the run, is longer than
    ``lost_after_ns``; false again at the end of the next one. The start of the run counts as the end of a frame: a node
    whose first frame is late is silent from 0. Ends after ``run_end_ns`` are not seen.
    """
    times: list[int] = [0]
    values: list[object] = [False]
    last_ns, is_silent = 0, False
    for end_ns in (*(int(end) for end in end_times_ns if end <= run_end_ns), None):
        gap_ns = (run_end_ns if end_ns is None else end_ns) - last_ns
        if gap_ns > lost_after_ns:
            _set(times, values, last_ns, True)
            is_silent = True
        if end_ns is not None:
            if is_silent:
                _set(times, values, end_ns, False)
            last_ns, is_silent = end_ns, False
    return Track(times, values)


def _set(times: list[int], values: list[object], time_ns: int, value: bool) -> None:
    if values[-1] is value:
        return
    if times[-1] == time_ns:
        values[-1] = value
    else:
        times.append(time_ns)
        values.append(value)
