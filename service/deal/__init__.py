"""Buy or leave: what a piece may earn, what to offer, and which single check is worth most before paying."""
