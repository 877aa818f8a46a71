"""How compiled loops are compiled, when more than one core is at them, and when what was compiled is thrown away.

Inner functions are set into their callers, which hold the arrays: so they keep no count of references. Such a
count costs more than the work where a function is called for every sight line.

Numba keeps what it compiled beside the sources, and makes a function anew when its own file changed, not
when one that is set into it did. So all of it is thrown away when any source of compiled code is another.
"""

from __future__ import annotations

from functools import partial
from hashlib import blake2b
from pathlib import Path

from numba import njit

#: Decorator of a function that is set into its callers, makes no array and gives none back.
inner = partial(njit, cache=True, error_model="numpy", forceinline=True, _nrt=False)
#: The same for one that is called rarely, or is too long to be set into its callers.
called = partial(njit, cache=True, error_model="numpy", _nrt=False)

#: Leave of such functions: rounding may be contracted; there are no NaN and no infinities.
FAST = {"nnan", "ninf", "nsz", "contract"}
#: Fewer rays than this are followed by one core: waking the others would cost more.
MANY_RAYS = 20_000

KEY_FILE = "compiled.key"


def drop_stale(package: Path) -> bool:
    """Throw away what was compiled of other sources; tell whether anything was.

    Parameters
    ----------
    package : Path
        Folder of the package. What numba keeps of it is looked for where numba says that it keeps it: beside
        the sources, in ``NUMBA_CACHE_DIR``, or in the user's own folder.
    """
    texts = {path: path.read_bytes() for path in sorted(package.glob("*/*.py"))}
    compiled = {
        path: text for path, text in texts.items() if b"numba" in text or b"compiled" in text
    }
    key = blake2b(b"\0".join(compiled.values())).hexdigest()
    first_of_each = {path.parent: path for path in compiled}
    dropped = [_drop_in(_kept_of(path), key) for path in first_of_each.values()]
    return any(dropped)


def _kept_of(source: Path) -> Path:
    """Folder in which numba keeps what it compiles of a source, and of those beside it."""
    names: dict = {}
    # Numba tells it of a function alone, so one is made that seems to stand in that source.
    exec(compile("def probe(): pass", str(source), "exec"), names)
    return Path(str(njit(cache=True)(names["probe"]).stats.cache_path))


def _drop_in(folder: Path, key: str) -> bool:
    kept, note = list(folder.glob("*.nb[ci]")), folder / KEY_FILE
    try:
        if note.exists() and note.read_text("ascii") == key:
            return False
        for path in kept:
            path.unlink(missing_ok=True)
        folder.mkdir(exist_ok=True)
        note.write_text(key, "ascii")
    except OSError:  # a folder that may not be written to holds nothing that numba kept
        return False
    return bool(kept)


drop_stale(Path(__file__).parents[1])
