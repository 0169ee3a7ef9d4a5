"""Notes of safety: what can hurt someone in the work ahead, what to do, and what the law of the chosen place says."""
