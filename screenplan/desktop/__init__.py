"""The toolbox of a desktop GIS: its plugin, how it is installed, and the worker that it calls."""
