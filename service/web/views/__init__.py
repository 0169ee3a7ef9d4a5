"""What pages show, built from documents: pure functions, no requests, no store."""
