"""Rings and pours to pairs: serves, clocks, an exact assignment. The only importer of numpy and scipy."""
