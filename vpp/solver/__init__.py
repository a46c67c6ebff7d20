"""Batched constrained optimisation over arrays. It knows nothing of sailing."""
