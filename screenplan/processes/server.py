"""The steps on a geoprocessing server: an adapter for pygeoapi, which is not installed with screenplan.

Install screenplan and pygeoapi into one environment, write the server's configuration with
``screenplan processes --server server.yml``, and start it as pygeoapi says::

    export PYGEOAPI_CONFIG=server.yml PYGEOAPI_OPENAPI=openapi.yml
    pygeoapi openapi generate server.yml --output-file openapi.yml
    pygeoapi serve

It answers on this machine only until you change ``bind`` and ``url``. ``pygeoapi serve`` is for trying
it out, with a debugger; offer ``pygeoapi.flask_app:APP`` to others by a WSGI server. A request is refused if it
brings too much (`screenplan.processes.schemas`), and given up if it takes too long
(`screenplan.processes.timing`; ``seconds`` of each process in the configuration); how many run at once is for
the server that stands before it. A request with ``Prefer: respond-async`` is a job: pygeoapi keeps jobs and their
results beside the configuration, until somebody deletes them.
"""

from __future__ import annotations

from typing import Any

from pygeoapi.process.base import BaseProcessor, ProcessorExecuteError

from screenplan.ground.errors import InputError, refuse
from screenplan.ground.texts import quoted
from screenplan.processes.documents import describe_process
from screenplan.processes.execution import execute
from screenplan.processes.timing import MOST_SECONDS, within


class StepProcessor(BaseProcessor):
    """One step as a process of pygeoapi.

    Parameters
    ----------
    processor_def : dict
        The resource's ``processor`` of the configuration; ``step`` names the step, ``seconds`` says
        for how long a request is worked on at most.
    """

    def __init__(self, processor_def: dict[str, Any]):
        self.seconds = float(processor_def.get("seconds", MOST_SECONDS))
        super().__init__(processor_def, describe_process(processor_def["step"], self.seconds))
        self.supports_outputs = True

    def execute(
        self, data: dict[str, Any], outputs: dict[str, Any] | list[str] | None = None
    ) -> tuple[str, dict[str, Any]]:
        """Run the step; an input that is refused is answered with the library's own sentences.

        Parameters
        ----------
        data : dict
            The request's inputs.
        outputs : dict or list of str, optional
            The layers that are asked for; all by default.

        Returns
        -------
        str
            The media type.
        dict
            Results by layer.
        """
        try:
            results = within(self.seconds, lambda: execute(self.metadata["id"], data))
            if outputs is not None and not isinstance(outputs, (dict, list)):
                raise refuse(
                    "the outputs are no list of names", f"Name some of {', '.join(results)}"
                )
            for name in outputs or ():
                if not isinstance(name, str) or name not in results:
                    raise refuse(
                        f"the process has no output {quoted(name)}",
                        f"Name some of {', '.join(results)}",
                    )
        except InputError as error:
            said = " ".join(error.said)  # a status line has no line ends
            raise ProcessorExecuteError(said, user_msg=said) from None
        return "application/json", {
            name: result for name, result in results.items() if not outputs or name in outputs
        }
