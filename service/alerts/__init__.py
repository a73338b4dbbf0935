"""Alerts: what needs the host climbs a ladder of contacts until someone takes it.

`ladder.py` says who is told when, `words.py` what they read, `contacts.py` how it reaches them;
`take.py` and `staff.py` are how one takes, answers and closes; `planned.py` are the messages that
each stay gets at a set time. `tick.py` runs what is due.
"""
