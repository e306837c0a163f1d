"""The picture, drawn from the simulated stitches."""
