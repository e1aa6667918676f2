"""Use cases, one a file: what HTTP, batches and the command line call."""
