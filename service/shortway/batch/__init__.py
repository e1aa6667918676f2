"""Many charts: JSON Lines in, JSON Lines out, for the HTTP service and the command line alike.

Knows the wire and the core; no socket, no file, no web.
"""
