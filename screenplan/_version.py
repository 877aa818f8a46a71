"""The version, in one place that both the build and the command line read."""

__version__ = "0.2.0"
