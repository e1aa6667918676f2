"""The shapes of the wire, one file per noun.

They check what comes in as far as no music is needed, document both directions, and never dump:
answers are built from the core's values by `serializers`, and tests hold the two
together.
"""
