"""Serving: gunicorn with workers of our own, and what happens to connections there.

Knows gunicorn and the application. Only the command line imports this package.
"""
