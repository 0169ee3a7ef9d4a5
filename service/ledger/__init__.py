"""The ledger: what was asked, paid, planned, worked and sold, piece by piece; only ever added to."""
