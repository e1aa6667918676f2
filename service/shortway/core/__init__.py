"""The pure core: values in, values out; standard library and numpy; no I/O, clock, log or web."""
