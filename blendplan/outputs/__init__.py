"""Outputs of a plan: CSV, text, PDF, HTML and JSON."""
