"""Cautions, with where they hold, their source and its date."""
