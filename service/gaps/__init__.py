"""The gap report: what guests asked and no fact answered, kept, counted, and closed by a fact."""
