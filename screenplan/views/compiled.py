"""How inner functions of compiled loops are compiled.

They are set into their callers, which hold the arrays: so they keep no count of references. Such a
count costs more than the work where a function is called for every sight line.
"""

from __future__ import annotations

from functools import partial

from numba import njit

#: Decorator of a function that is set into its callers, makes no array and gives none back.
inner = partial(njit, cache=True, error_model="numpy", forceinline=True, _nrt=False)
#: The same for one that is called rarely, or is too long to be set into its callers.
called = partial(njit, cache=True, error_model="numpy", _nrt=False)
