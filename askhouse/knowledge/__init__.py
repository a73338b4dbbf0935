"""House files read, all problems told: what a host knows, as values the engine takes."""

from askhouse.knowledge.load import Library, LoadedHouse, load_house, load_houses
from askhouse.knowledge.problems import Problem, Severity, listing

__all__ = [
    "Library",
    "LoadedHouse",
    "Problem",
    "Severity",
    "listing",
    "load_house",
    "load_houses",
]
