"""Stripes: which strands are held together for how many rows, and what is cut at each change."""
