"""Checks by hand: what an answer is worth, how answers and photos are put together, which check comes next."""
