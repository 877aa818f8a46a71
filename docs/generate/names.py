"""The page of the Python names: what the library makes public, and the function of each step."""

from __future__ import annotations

import inspect

import screenplan
from docs.generate.markdown import bullets, code, page, section
from screenplan.running.steps import STEPS

#: What public values that are no function and no class hold.
VALUES = {
    "STEPS": "The steps by name, in the order in which they run: {py:class}`~screenplan.running.steps.Step`."
}

_INTRO = """\
`import screenplan` is light: a name below is loaded when it is first used. Everything that a person can
mend is raised as {py:class}`screenplan.InputError`, whose text says what is wrong, where, and how to
mend it.

A step is called with {py:func}`screenplan.run_step`, which takes layers in any reference system and hands
them back in the caller's own. Its function, further down, works in the [local frame](#page-conventions) only."""


def python_page() -> str:
    """Write the page."""
    names = [name for name in screenplan.__all__ if name != "__version__"]
    steps = [step.function.replace(":", ".") for step in STEPS.values()]
    return page(
        "Python",
        "python",
        _INTRO,
        bullets(f"{{py:obj}}`screenplan.{name}`" for name in sorted(names)),
        section("Public names", 2, "public-names"),
        *(part for name in sorted(names) for part in _entry(name)),
        section("A step", 2, "class-step"),
        _auto("autoclass", "screenplan.running.steps.Step", "members"),
        section("Functions of the steps", 2, "step-functions"),
        "In the order in which they run. Layers go in and come out in the local frame.",
        *(
            part
            for name, function in zip(STEPS, steps, strict=True)
            for part in (
                section(code(name), 3, f"function-{name}"),
                f"Of the step [`{name}`](#step-{name}).",
                _auto("autofunction", function),
            )
        ),
    )


def _entry(name: str) -> list[str]:
    found, full = getattr(screenplan, name), f"screenplan.{name}"
    if inspect.isclass(found):
        # A plan's fields are told on the page of the plan file.
        members = ("members",) if name != "Plan" else ()
        return [_auto("autoclass", full, *members)]
    if inspect.isfunction(found):
        return [_auto("autofunction", full)]
    return [_directive(".. py:data::", full), VALUES[name]]


def _auto(kind: str, name: str, *options: str) -> str:
    return _directive(f".. {kind}::", name, *options)


def _directive(kind: str, name: str, *options: str) -> str:
    lines = [f"{kind} {name}", *(f"   :{option}:" for option in options)]
    return "\n".join(["```{eval-rst}", *lines, "```"])
