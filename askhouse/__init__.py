"""Askhouse answers a guest's message from what the host has written, and from nothing else."""

__all__ = ["__version__"]

__version__ = "0.1.0"
