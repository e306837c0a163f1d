"""Yarn used: length per colour, skeins to buy, yarn on hand, and whether it will last."""
