"""What the old finish is: spot tests, mildest first."""
