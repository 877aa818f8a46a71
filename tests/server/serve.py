"""Run by the server's own Python: a pygeoapi server on a free port of this machine.

It prints the port when it answers, and ends when its standard input closes.
"""

import json
import os
import socket
import sys
import threading
from pathlib import Path

from screenplan.processes.configuration import server_configuration


def main(folder):
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    port = listening.getsockname()[1]
    config, openapi = Path(folder) / "server.yml", Path(folder) / "openapi.json"
    store = Path(folder) / "jobs"
    (store / "results").mkdir(parents=True)
    config.write_text(json.dumps(server_configuration(f"http://127.0.0.1:{port}", port, store)))
    os.environ |= {"PYGEOAPI_CONFIG": str(config), "PYGEOAPI_OPENAPI": str(openapi)}

    from pygeoapi.openapi import generate_openapi_document, validate_openapi_document

    text = generate_openapi_document(config, "json")
    openapi.write_text(text)
    print("openapi", validate_openapi_document(json.loads(text)), flush=True)

    from pygeoapi.flask_app import APP
    from werkzeug.serving import make_server

    listening.listen()
    server = make_server("127.0.0.1", port, APP, threaded=True, fd=listening.fileno())
    threading.Thread(target=server.serve_forever, daemon=True).start()
    print("port", port, flush=True)
    sys.stdin.read()
    server.shutdown()


if __name__ == "__main__":
    main(sys.argv[1])
