"""The project that a desktop GIS opens: every layer styled and in its group, and sheets to print."""

from screenplan.outputs.project.document import PROJECT_NAME, make_document, write_project
from screenplan.outputs.project.sheets import Titles

__all__ = ["PROJECT_NAME", "Titles", "make_document", "write_project"]
