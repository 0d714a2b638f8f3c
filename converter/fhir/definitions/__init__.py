"""Builds the shipped definitions (CodeSystems, ValueSets, profiles ...) from the same data the resources use.

Takes a vocabulary and a canonical base; gives ordinary FHIR definition resources. `python -m
converter.fhir.definitions FOLDER` writes them, one file each; a test holds the shipped files to them.
"""

from converter.fhir.definitions.all import definition_files, file_name

__all__ = ["definition_files", "file_name"]
