"""The version of the program: the one place that says it, for the build too."""

__version__ = "0.1.0"
