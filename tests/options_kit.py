"""What steps go by, from single values."""

from typing import Any

from screenplan.plan import Options, has_lengths, is_length, is_volume
from screenplan.plan.reading import check_options


def plan_with(**values: Any) -> Options:
    """Give the options of a plan: ``rows_spacing=2.0`` for the key ``rows.spacing``, numbers in metres."""
    content: dict[str, dict[str, Any]] = {}
    for name, value in values.items():
        section, key = name.split("_", 1)
        content.setdefault(section, {})[key] = _written(f"{section}.{key}", value)
    return check_options(content)


def _written(key: str, value: Any) -> Any:
    if isinstance(value, str) or value is None:
        return value
    if has_lengths(key):
        return [
            [*entry[:-1], f"{float(entry[-1])!r} m"]
            if isinstance(entry, (tuple, list))
            else f"{float(entry)!r} m"
            for entry in value
        ]
    unit = "m" if is_length(key) else "m3" if is_volume(key) else ""
    return f"{float(value)!r} {unit}" if unit else value
