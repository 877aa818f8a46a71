"""The configuration by which a pygeoapi server offers every step."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from screenplan._version import __version__
from screenplan.ground.errors import refuse
from screenplan.processes.timing import MOST_SECONDS
from screenplan.running.steps import STEPS

ADAPTER = "screenplan.processes.server.StepProcessor"


def server_configuration(
    url: str = "http://127.0.0.1:5000", port: int = 5000, store: str | Path = "jobs"
) -> dict[str, Any]:
    """Give the configuration of a server that answers on this machine only.

    Parameters
    ----------
    url : str
        Where it is reached; links in its answers begin so.
    port : int
        The port that it listens on.
    store : path
        The folder in which the server keeps its jobs, with a folder ``results`` in it.
    """
    store = Path(store)
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
            # pygeoapi's own store of jobs: without one it answers every request at once.
            "manager": {
                "name": "TinyDB",
                "connection": str(store / "jobs.json"),
                "output_dir": str(store / "results"),
            },
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
            name: {
                "type": "process",
                "processor": {"name": ADAPTER, "step": name, "seconds": MOST_SECONDS},
            }
            for name in STEPS
        },
    }


def write_configuration(path: str | Path) -> Path:
    """Write the configuration as YAML, of which JSON is a part, and make the folder of the server's jobs beside it.

    Raises
    ------
    InputError
        If there is such a file already, or it cannot be written.
    """
    path = Path(path)
    if path.exists():
        raise refuse("there is such a file already", "Name another", file=str(path))
    store = path.resolve().with_name(f"{path.stem}_jobs")
    text = json.dumps(server_configuration(store=store), indent=2, ensure_ascii=False)
    try:
        (store / "results").mkdir(parents=True, exist_ok=True)
        path.write_text(f"{text}\n", encoding="utf-8", newline="\n")
    except OSError as error:
        raise refuse(
            f"the file cannot be written ({error.strerror})", "Name another", file=str(path)
        ) from None
    return path
