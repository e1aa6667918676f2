"""The search: a problem in, the indices of its best paths out."""
