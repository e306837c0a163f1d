"""The ripple fabric: rows simulated stitch by stitch, gauge, size, and rows to work from."""
