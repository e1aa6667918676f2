"""Many charts: JSON Lines in, JSON Lines out, for the HTTP service and the command line alike.

Knows the wire and the core; no web. `lines` answers one line and `stream` a stream of them, with no
file; `run` takes the command's files from one end to the other.
"""
