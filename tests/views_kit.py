"""The steps that follow rays, on layers by name and keys of a plan."""

from options_kit import plan_with

#: Arguments of a step that are neither layers nor keys.
OTHERS = ("terrain", "species_table", "kept", "second_sample")


def follow(step, layers, **options):
    """Call a step: ``views_threshold=0.2`` is the key ``views.threshold``; no layer is None."""
    # Most tests follow rays by the hundred; those of the draws ask for them.
    options = {"chance_draws": 0} | options
    others = {name: options.pop(name) for name in OTHERS if name in options}
    there = {name: layer for name, layer in layers.items() if layer is not None}
    return step(there, plan=plan_with(**options), **others)
