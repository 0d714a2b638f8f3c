"""Tells which notes, and which parts of them, can speak of reflexes at all: the others cost little."""
