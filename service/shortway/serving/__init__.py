"""How the service is run: gunicorn with workers of our own, and what happens to connections there.

Knows gunicorn, and the application by name; nothing of the service knows this package but the
command line.
"""
