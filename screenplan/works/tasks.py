"""Tasks as the calendar holds them: the record of one, and the part of the work to which each belongs."""

from __future__ import annotations

#: The source of what has none.
COMMON = "common practice, no source"
#: The part of the work to which each task belongs.
PART = {
    task: part
    for part, tasks in {
        "order": "order raise pot",
        "stake-out": "ask cut mark locate renew pegs",
        "dig": "prepare clear dig",
        "plant": "plant mulch",
        "fence": "build fence fence_check fence_off",
        "water": "water_daily water_often water_weekly water_later water_winter",
        "check": "weed locate_again replace mulch_again clip clip_first clip_kept closed",
    }.items()
    for task in tasks.split()
}


def task(key, name, day, says, *, source=COMMON, caution=None, item=None, **more) -> dict:
    """Make the record of a task; the calendar gives it its dates and its part of the work.

    Parameters
    ----------
    key : str
        One of `PART`.
    name : str
        What is done, in words.
    day : int
        Its first day, counted from planting.
    says : str
        How it is done.
    source, caution, item : str, optional
        Where it comes from, what to watch, and the quantity that it handles.
    more
        Of a task that is done several times ``times`` and ``every_days``; of one that takes several days
        its last one, ``until``.
    """
    return {
        "task": key, "name": name, "first_day": int(day), "times": 1, "says": says, "source": source,
        "caution": caution, "item": item,
    } | more  # fmt: skip
