"""Pictures of a path as SVG: the grand staff, a keyboard for each step, the voice lines.

Each picture is a module with one function of its name that answers bytes, the same bytes for the
same input: UTF-8, one `svg` element, a title and a description for those who do not see it, no
script, nothing loaded from elsewhere. `staff` has Verovio work; the other two need no library.
"""
