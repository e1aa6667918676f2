"""The wire format: schemas and serializers. Knows no Flask."""
