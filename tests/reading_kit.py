"""Sites read with values by name, for tests that change one of them."""

from screenplan.plan import Options
from screenplan.site.reading import LayerSource
from screenplan.site.reading import read_site as read_with_plan

#: What a test calls a value, and its key in the section `site`.
SITE = {
    "height_m": "height",
    "boundary_accuracy_m": "boundary_accuracy",
    "datum_tolerance_m": "datum_tolerance",
    "reach_m": "reach",
    "storey_height_m": "storey_height",
}


def read_site(sources, *, subject_id=None, subject_point=None, **options):
    """Read a site; ``options`` are those of `SITE`, in metres, and resources."""
    plan = Options().about(subject_id, subject_point)
    values = {SITE[name]: options.pop(name) for name in SITE if name in options}
    plan = plan.model_copy(update={"site": plan.site.model_copy(update=values)})
    return read_with_plan(sources, plan=plan, **options)


def read_frames(layers, *, columns=None, units=None, fixed=None, **options):
    """Read layers in memory; ``columns``, ``units``, ``fixed`` are by layer."""
    sources = {
        name: LayerSource(
            layer,
            columns=(columns or {}).get(name, {}),
            units=(units or {}).get(name, {}),
            fixed=(fixed or {}).get(name, {}),
        )
        for name, layer in layers.items()
    }
    return read_site(sources, **options)
