"""Lead sheets in; scores, sound and pictures out.

Stands on the core and the wire shapes; no web, no files. What needs a heavy library is a
module of its own, imported by its callers when it is first needed; Verovio has a process.
"""
