"""HTTP: request bodies, responses, problems and the declaration of a call."""
