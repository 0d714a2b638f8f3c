"""Puts plainly what a note writes in its own manner, before tables and grammar read it: marks, boxes."""
