"""The plan file: its sections, its keys, and how it is read.

Every key stands here once, with its type, range, default and one line of help. The command line,
the commented plan that ``screenplan start`` writes, and the reference are made from these fields,
and the steps go by them (see `screenplan.running.steps`).
"""

from __future__ import annotations

from screenplan.plan.model import (
    DEFAULTS,
    SECTIONS,
    Options,
    Plan,
    entry_limits,
    has_lengths,
    is_length,
    is_texts,
    is_volume,
    key_choices,
    key_field,
    key_limits,
)
from screenplan.plan.reading import check_plan, read_plan
from screenplan.plan.site import Ground, LayerSource, Subject
from screenplan.plan.tape import TAPE_TABLES, Tape
from screenplan.plan.values import LAST_YEAR, Section

__all__ = [
    "DEFAULTS",
    "LAST_YEAR",
    "SECTIONS",
    "TAPE_TABLES",
    "Ground",
    "LayerSource",
    "Options",
    "Plan",
    "Section",
    "Subject",
    "Tape",
    "check_plan",
    "entry_limits",
    "has_lengths",
    "is_length",
    "is_texts",
    "is_volume",
    "key_choices",
    "key_field",
    "key_limits",
    "read_plan",
]
