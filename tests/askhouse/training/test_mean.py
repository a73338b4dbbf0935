"""The mean of the weights of several trainings."""

from __future__ import annotations

import pytest
import torch

from askhouse.training.mean import mean_of_weights


def test_each_weight_is_in_the_middle() -> None:
    """Worked by hand: the middle of 1 and 4 is 2.5, also where one is in half precision."""
    one = {"w": torch.tensor([[1.0, 0.0]]), "b": torch.tensor(2.0)}
    two = {"w": torch.tensor([[4.0, -2.0]]).half(), "b": torch.tensor(2.0)}
    found = mean_of_weights([one, two])
    assert found["w"].tolist() == [[2.5, -1.0]]
    assert found["w"].dtype is torch.float32
    assert found["b"].item() == 2.0


def test_trainings_of_different_models_have_no_mean() -> None:
    """
    Raises ValueError where a tensor has another shape, or is missing.
    """
    with pytest.raises(ValueError, match="same base"):
        mean_of_weights([{"w": torch.ones(2)}, {"w": torch.ones(3)}])
    with pytest.raises(ValueError, match="same base"):
        mean_of_weights([{"w": torch.ones(2)}, {"v": torch.ones(2)}])
