"""Runs into an output folder, in short; light, since many processes import it to be killed."""

from screenplan.outputs.folder import OutputFolder
from screenplan.outputs.record import RunRecord, describe_output, write_record


def fill(place, text, names=("plants.geojson", "plan.gpkg")):
    """Write what stands for a run's files."""
    for name in names:
        (place / name).write_text(f"{name} {text}")
    outputs = [describe_output(place / name, {}) for name in names]
    record = RunRecord(outputs=outputs, versions={"made": "up"}, written_at="2026-03-21T12:00:00Z")
    write_record(record, place, base=place)


def run_with(target, act, **options):
    """Run ``act(folder beside the target)`` as the writing of a run."""
    with OutputFolder(target, **options) as folder, folder.staged() as beside:
        act(beside)


def run_into(target, text, **options):
    run_with(target, lambda beside: fill(beside, text), **options)
