"""Middleware: authentication, rate limits, CORS, deadlines, response cache."""
