"""Who may come in, and what they may see: people by password and session, programs by token.

Nothing that opens a door is kept as it is: of passwords, sessions, links and tokens only hashes
are stored. A form is taken only from our own pages (`forms.py`), and every page is told to the
browser as one that runs no foreign script (`headers.py`).
"""
