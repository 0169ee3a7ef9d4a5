"""Selling and carrying: photos for the advert, its text, what it takes to move the piece."""
