"""Reads what stands in lines and columns: tables, drawn figures, several times. `walking.py` comes first."""
