"""How good, how sure, how fast. Promises are in tests/; figures come from here."""
