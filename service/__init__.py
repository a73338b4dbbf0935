"""The engine behind HTTP. A message's way in: request → `api.py` → `answering.py` → reply."""
