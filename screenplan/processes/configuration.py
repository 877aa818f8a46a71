"""The configuration by which a pygeoapi server offers every step."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from screenplan._version import __version__
from screenplan.ground.errors import refuse
from screenplan.running.steps import STEPS

ADAPTER = "screenplan.processes.server.StepProcessor"


def server_configuration(url: str = "http://127.0.0.1:5000", port: int = 5000) -> dict[str, Any]:
    """Give the configuration of a server that answers on this machine only.

    Parameters
    ----------
    url : str
        Where it is reached; links in its answers begin so.
    port : int
        The port that it listens on.
    """
    return {
        "server": {
            "bind": {"host": "127.0.0.1", "port": port},
            "url": url,
            "mimetype": "application/json; charset=UTF-8",
            "encoding": "utf-8",
            "language": "en-US",
            "pretty_print": False,
            "limits": {"default_items": len(STEPS), "max_items": 100},
            "map": {"url": "", "attribution": ""},
        },
        "logging": {"level": "ERROR"},
        "metadata": {
            "identification": {
                "title": "screenplan",
                "description": "Steps that plan a living screen along a parcel boundary",
                "keywords": ["planting", "privacy screen", "parcel"],
                "keywords_type": "theme",
                "terms_of_service": "https://opensource.org/license/mit",
                "url": url,
            },
            "license": {"name": "MIT", "url": "https://opensource.org/license/mit"},
            "provider": {"name": f"screenplan {__version__}", "url": url},
            "contact": {"name": "The operator of this server"},
        },
        "resources": {
            name: {"type": "process", "processor": {"name": ADAPTER, "step": name}}
            for name in STEPS
        },
    }


def write_configuration(path: str | Path) -> Path:
    """Write the configuration as YAML, of which JSON is a part.

    Raises
    ------
    InputError
        If there is such a file already, or it cannot be written.
    """
    path = Path(path)
    if path.exists():
        raise refuse("there is such a file already", "Name another", file=str(path))
    text = json.dumps(server_configuration(), indent=2, ensure_ascii=False)
    try:
        path.write_text(f"{text}\n", encoding="utf-8", newline="\n")
    except OSError as error:
        raise refuse(
            f"the file cannot be written ({error.strerror})", "Name another", file=str(path)
        ) from None
    return path
