"""Strands held together: the colour they make, and how the pair will read."""
