"""Lines: how a gateway's messages come in, are trusted and counted, and how replies go out."""
