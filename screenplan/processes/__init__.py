"""The steps as processes of OGC API – Processes, part 1 (OGC 18-062r2): described, run, served.

`describe_process` gives the document of a step, `execute` runs it from GeoJSON to GeoJSON, and
`screenplan.processes.server` is the adapter by which a geoprocessing server offers the steps.
"""

from screenplan.processes.documents import describe_process, list_processes, write_processes
from screenplan.processes.execution import execute

__all__ = ["describe_process", "execute", "list_processes", "write_processes"]
