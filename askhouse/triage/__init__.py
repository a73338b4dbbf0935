"""Harm and lockout: read before any search, on their own."""
