"""Samples: two lines as an operator would describe them, and a gateway to try them with."""
