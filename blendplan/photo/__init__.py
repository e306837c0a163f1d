"""Photographs to shades: one loading door, the white reference, boxes and the reader."""
