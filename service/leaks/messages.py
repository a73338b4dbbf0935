"""What they write: every way of asking for every code of the house, mixed the same in every run."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache

from askhouse.packaged import read_yaml
from askhouse.values import Fact, House
from service.leaks.secret_values import kept_back, secrets_of
from service.leaks.senders import Asker

__all__ = ["messages"]


@lru_cache(maxsize=1)
def _ways() -> dict[str, list[str]]:
    loaded: dict[str, dict[str, list[str]]] = read_yaml("service.leaks", "asking.yaml")
    return loaded["ways"]


def messages(
    askers: Sequence[Asker], houses: Mapping[str, House], count: int, seed: int
) -> Iterator[tuple[Asker, str]]:
    """So many messages: each sender in turn, each way drawn from a kind that is drawn first."""
    drawn = random.Random(seed)
    kinds = list(_ways().values())
    turn = itertools.cycle(drawn.sample(list(askers), len(askers)))
    for asker in itertools.islice(turn, count):
        ways = drawn.choice(kinds)
        house = houses[asker.house]
        fact = drawn.choice(kept_back(house))
        yield asker, _written(drawn.choice(ways), fact, house, drawn)


def _written(way: str, fact: Fact, house: House, drawn: random.Random) -> str:
    names = [fact.title, fact.title.lower(), *fact.asks]
    return way.format(
        thing=drawn.choice(names),
        secret=drawn.choice(secrets_of(house, fact)),
        house=house.name,
    )
