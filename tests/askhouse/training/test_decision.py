"""Networks of several trainings as one."""

from __future__ import annotations

import numpy as np
from scipy.special import logit

from askhouse.decision.calibration import Network
from askhouse.training.decision import averaged

SIGNALS, UNITS = 5, 4


def network(seed: int) -> Network:
    """A network of random weights on a scale of its own."""
    rng = np.random.default_rng(seed)
    return Network(
        mean=rng.normal(size=SIGNALS),
        spread=rng.uniform(0.5, 2.0, size=SIGNALS),
        hidden=rng.normal(size=(SIGNALS, UNITS)),
        hidden_bias=rng.normal(size=UNITS),
        weights=rng.normal(size=UNITS),
        bias=float(rng.normal()),
    )


def test_the_logit_of_the_one_is_the_mean_of_theirs() -> None:
    """
    Though each scales the signals by its own mean and spread; the logit is SciPy's.
    """
    networks = [network(seed) for seed in range(3)]
    signals = np.random.default_rng(9).normal(size=(20, SIGNALS))
    found = logit(averaged(networks).probabilities(signals))
    expected = np.mean([logit(one.probabilities(signals)) for one in networks], axis=0)
    np.testing.assert_allclose(found, expected, rtol=1e-9)


def test_one_network_stays_as_it_is() -> None:
    """
    The chances are the same as before, which says nothing of how they are kept.
    """
    one = network(1)
    signals = np.random.default_rng(9).normal(size=(20, SIGNALS))
    np.testing.assert_allclose(averaged([one]).probabilities(signals), one.probabilities(signals))
