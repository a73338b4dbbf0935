"""Looking for leaks: thousands of messages from senders who may be told no code, through the
service as it runs, and every place searched afterwards for every code and password.

`python -m service.leak_check` runs it on the houses of the settings.
"""
