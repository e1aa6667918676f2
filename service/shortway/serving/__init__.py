"""Serving: gunicorn, by its documented settings and hooks.

Knows gunicorn and the application. Only the command line imports this package.
"""
